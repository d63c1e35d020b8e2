"""The shape of the project itself."""

import importlib.metadata
import re
import subprocess
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).parents[2]
ALLOWED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "watchdog", "config", "tests", "deploy", "docs", "LICENSE"}


def _tracked() -> list[str]:
    return subprocess.run(["git", "ls-files"], cwd=TOP, check=True, capture_output=True, text=True).stdout.splitlines()


def test_the_top_level_holds_exactly_what_it_should() -> None:
    names = {path.split("/")[0] for path in _tracked()}
    assert {name for name in names if not name.startswith(".")} == ALLOWED


def test_no_module_is_longer_than_250_lines() -> None:
    long = {path: lines for path in _tracked() if path.endswith(".py") and (lines := len((TOP / path).read_bytes().splitlines())) > 250}
    assert {path for path in long if path.startswith("watchdog/")} == set()


def test_nothing_is_put_off_or_skipped_without_a_reason() -> None:
    soft = re.compile(r"pytest\.mark\.(skip|xfail)\b|#\s*(TO" + "DO|FIX" + "ME|XX" + r"X)|assert " + "True")
    found = [path for path in _tracked() if path.endswith(".py") and soft.search((TOP / path).read_text(encoding="utf-8"))]
    assert found == []


def test_no_dependency_of_any_extra_brings_in_the_package_that_shares_our_import_name() -> None:
    """The import package is called watchdog; so is an unrelated distribution, which would overwrite it."""
    ours = importlib.metadata.metadata("heatwarden").get_all("Provides-Extra") or []
    wanted = [("heatwarden", extra) for extra in ("", *ours)]
    seen = set[tuple[str, str]]()
    while wanted:
        name, extra = wanted.pop()
        if (name, extra) in seen:
            continue
        seen.add((name, extra))
        for line in importlib.metadata.requires(name) or []:
            needed = Requirement(line)
            if needed.marker is None or needed.marker.evaluate({"extra": extra}):
                wanted += [(canonicalize_name(needed.name), more) for more in ("", *needed.extras)]
    names = {name for name, _ in seen}
    assert len(names) > 20
    assert "watchdog" not in names
    assert "watchdog" not in {str(entry.metadata["Name"]).lower() for entry in importlib.metadata.distributions()}
