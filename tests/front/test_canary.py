"""Row S16: a token is in nothing that the project writes, says or shows, but for the one line that made it."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from rig.front import Answer
from rig.house import House, house
from rig.workshop import until

pytestmark = pytest.mark.rig

BODY_WORD = "canary-in-a-body-7f3a"


@pytest.fixture(scope="module")
def used(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[House, list[str], list[Answer]]]:
    """A house in which good and bad tokens went through every route, in the right place and in wrong ones."""
    with house(tmp_path_factory.mktemp("canary")) as home:
        secrets = [home.make_token("the canary", "read", "report", "trip", "reset"), "hw_" + "Canary-" * 6 + "x", "hw_short_canary_secret"]
        yield home, secrets, [answer for secret in secrets for answer in _everywhere(home, secret)]


def _everywhere(home: House, secret: str) -> list[Answer]:
    front = home.front
    act: Any = {"person": "Ada", "reason": "for the record"}
    answers = [
        front.get(path, secret) for path in ("/livez", "/readyz", "/api/v1/openapi.json", "/api/v1/status", "/api/v1/events", "/nowhere")
    ]
    answers += [front.get(f"/api/v1/{path}", secret) for path in ("printers", "printers/anvil", "trips", "trips/7", "events?limit=x")]
    answers += [front.post(f"/api/v1/printers/cinder/{word}", act, secret) for word in ("trip", "reset")]
    bodies: list[Any] = [[], {"printer": BODY_WORD}, b"{" + BODY_WORD.encode()]
    answers += [front.post("/api/v1/readings", body, secret) for body in bodies]
    answers += [front.post("/api/v1/printers/cinder/trip", {"person": BODY_WORD, BODY_WORD: 1}, secret)]
    # In places where a token has no business to be; what comes back is not asked for its own echo of the address.
    front.get(f"/api/v1/status?token={secret}")
    front.get(f"/api/v1/events?token={secret}", secret)
    front.ask("GET", "/api/v1/status", headers={"Authorization": f"Basic {secret}", "Cookie": secret, "Referer": secret, "X-Token": secret})
    front.ask("GET", "/api/v1/events/stream", token=secret, headers={"Last-Event-ID": secret})
    return answers


def test_in_no_answer(used: tuple[House, list[str], list[Answer]]) -> None:
    _, secrets, answers = used
    assert len(answers) > 40
    for answer in answers:
        said = answer.body.decode() + repr(answer.headers)
        assert not [secret for secret in secrets if secret in said]
        assert answer.status < 500 or answer.status == 503


def test_in_no_log_which_holds_no_body_and_no_query_either(used: tuple[House, list[str], list[Answer]]) -> None:
    home, secrets, _ = used
    until(lambda: home.front.log().count("GET /api/v1/events/stream") >= 3)
    for log in (home.front.log(), home.shop.guard.log(), home.shop.broker.log()):
        assert not [word for word in (*secrets, BODY_WORD, "token=", "limit=x") if word in log]
    assert "by 'the canary'" in home.front.log()
    assert "Traceback" not in home.front.log()


def test_in_no_file_of_settings_and_state(used: tuple[House, list[str], list[Answer]]) -> None:
    home, secrets, _ = used
    files = [path for place in (home.shop.guard.config, home.shop.guard.state) for path in place.rglob("*") if path.is_file()]
    assert {"record.sqlite", "tokens.json", "heatwarden.toml"} <= {path.name for path in files}
    assert not [path for path in files for secret in secrets if secret.encode() in path.read_bytes()]


def test_in_no_record_which_names_the_token_instead(used: tuple[House, list[str], list[Answer]]) -> None:
    home, secrets, _ = used

    def rows() -> str:
        with closing(sqlite3.connect(home.shop.guard.state / "record.sqlite")) as record:
            return repr(record.execute("SELECT * FROM events").fetchall()) + repr(record.execute("SELECT * FROM trips").fetchall())

    until(lambda: "Ada by token 'the canary'" in rows())
    assert not [secret for secret in secrets if secret in rows()]


def test_in_no_command_line_and_no_environment_of_a_process(used: tuple[House, list[str], list[Answer]]) -> None:
    home, secrets, _ = used
    for process in (home.front.process, home.shop.guard.process):
        assert process is not None
        shown = b"".join(Path(f"/proc/{process.pid}/{name}").read_bytes() for name in ("cmdline", "environ"))
        assert not [secret for secret in secrets if secret.encode() in shown]
