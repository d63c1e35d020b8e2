"""The OpenAPI document, the page that explains it, and what the front process may load."""

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from watchdog.front.app import make_app
from watchdog.front.described import document
from watchdog.front.plan import plan_of
from watchdog.front.problems import KINDS, MEDIA_TYPE, URN
from watchdog.settings.model import Front

PAGE = (Path(__file__).parents[2] / "docs" / "api.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    return document(make_app(plan_of(Front(), Path("/nowhere"))))


def operations(described: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [(f"{method.upper()} {path}", one) for path, methods in described["paths"].items() for method, one in methods.items()]


def test_every_answer_is_described_good_ones_by_their_form_and_others_as_problems(described: dict[str, Any]) -> None:
    assert described["openapi"] == "3.1.0"
    for name, one in operations(described):
        assert one["summary"], name
        assert one["description"], name
        for status, answer in one["responses"].items():
            assert answer["description"]
            if status == "200":
                (form,) = answer["content"]
                assert form == ("text/event-stream" if name.endswith("/stream") else "application/json")
            else:
                assert list(answer["content"]) == [MEDIA_TYPE], (name, status)
        assert {"200", "400", "404", "405", "413", "421", "431", "500", "503"} <= one["responses"].keys(), name


def test_every_kind_of_problem_is_told_of_by_some_route(described: dict[str, Any]) -> None:
    told = {
        word
        for _, one in operations(described)
        for answer in one["responses"].values()
        for word in re.findall(URN + r"[a-z-]+", answer["description"])
    }
    assert told == {URN + name for name in KINDS}


def test_every_problem_says_what_to_do() -> None:
    for name, kind in KINDS.items():
        assert re.fullmatch(r"[a-z-]+", name)
        assert kind.status >= 400
        assert kind.what_to_do.endswith(".")
        assert (kind.status == 401) == ("WWW-Authenticate" in kind.headers)
        assert (kind.status in {429, 503}) == ("Retry-After" in kind.headers), name


def test_references_lead_somewhere(described: dict[str, Any]) -> None:
    schemas = described["components"]["schemas"]
    assert set(re.findall(r"#/components/schemas/(\w+)", repr(described))) <= set(schemas)
    assert "HTTPValidationError" not in schemas
    assert described["components"]["securitySchemes"]["token"]["scheme"] == "bearer"


def test_there_is_no_page_that_loads_scripts_from_elsewhere() -> None:
    app = make_app(plan_of(Front(), Path("/nowhere")))
    assert (app.docs_url, app.redoc_url, app.openapi_url) == (None, None, None)


def test_the_page_tells_of_every_route_with_an_example_and_of_no_other(described: dict[str, Any]) -> None:
    told = set(re.findall(r"^#+ `((?:GET|POST) /[^`]*)`$", PAGE, re.MULTILINE))
    assert told == {name for name, _ in operations(described)}
    for name, one in operations(described):
        section = PAGE.split(f"`{name}`\n")[1].split("\n## ")[0].split("\n### ")[0]
        assert "curl" in section, name
        for entry in one.get("parameters", []):
            if entry["in"] == "query":
                assert f"`{entry['name']}`" in section, (name, entry["name"])
        scope = (one.get("security") or [{}])[0].get("token", [])
        assert all(f"`{word}`" in section for word in scope), name


def test_the_page_tells_of_every_kind_of_problem() -> None:
    rows = dict(re.findall(r"^\| `([a-z-]+)` \| (\d+) \|", PAGE, re.MULTILINE))
    assert rows == {name: str(int(kind.status)) for name, kind in KINDS.items()}


def test_the_front_loads_nothing_of_the_guard_and_no_way_to_a_printer() -> None:
    script = (
        "import sys, watchdog.cli.front, watchdog.front.server, watchdog.front.settings\n"
        "print(*sorted(name for name in sys.modules if name.split('.')[0] == 'paho' or name == 'watchdog.wiring'\n"
        "  or name.startswith(('watchdog.core.engine', 'watchdog.core.site', 'watchdog.core.power', 'watchdog.sources',\n"
        "  'watchdog.relays', 'watchdog.latch', 'watchdog.guard.loop', 'watchdog.guard.process', 'alembic', 'scipy', 'numpy', 'typer'))))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
