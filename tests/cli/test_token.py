"""`heatwarden token`: what it makes is good, what it is told wrong it says, and nothing is lost."""

import re
from pathlib import Path

import orjson
import pytest
from typer.testing import CliRunner, Result

from watchdog.cli.app import app
from watchdog.guard.clock import wall_us
from watchdog.guard.token_file import NAME, hash_of, read_tokens

TOKEN = re.compile(r"hw_[A-Za-z0-9_-]{43}")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    (tmp_path / "config" / "printers").mkdir(parents=True)
    for name in ("anvil", "bramble"):
        (tmp_path / "config" / "printers" / f"{name}.toml").touch()
    (tmp_path / "state").mkdir()
    return tmp_path / "state"


def run(state: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["token", *words, "--state", str(state), "--config", str(state.parent / "config")])


def test_a_token_is_shown_once_alone_on_standard_output_and_kept_as_its_hash(state: Path) -> None:
    done = run(state, "make", "bench tablet", "--scope", "trip", "--scope", "read", "--printer", "anvil", "--days", "90")
    assert done.exit_code == 0
    assert TOKEN.fullmatch(done.stdout.strip())
    assert "shown once" in done.stderr
    (token,) = read_tokens(state)
    assert (token.name, token.scopes, token.printers) == ("bench tablet", ("read", "trip"), ("anvil",))
    assert token.sha256 == hash_of(done.stdout.strip())
    assert token.until_s == pytest.approx(wall_us() / 1e6 + 90 * 86400, abs=60)
    assert done.stdout.strip() not in (state / NAME).read_text()


def test_two_tokens_are_never_the_same(state: Path) -> None:
    made = {run(state, "make", f"number {number}", "--scope", "read").stdout for number in range(5)}
    assert len(made) == 5
    assert len({token.sha256 for token in read_tokens(state)}) == 5


def test_the_list_tells_all_but_the_secret(state: Path) -> None:
    assert "There is no token" in run(state, "list").stdout
    secret = orjson.loads(run(state, "make", "tablet", "--scope", "reset", "--json").stdout)["token"]
    shown, told = run(state, "list"), run(state, "list", "--json")
    assert secret not in shown.output + told.output
    assert hash_of(secret) not in shown.output + told.output
    assert "tablet: for reset, without an end" in shown.stdout
    (entry,) = orjson.loads(told.stdout)["tokens"]
    assert entry | {"made": ""} == {
        "name": "tablet",
        "id": hash_of(secret)[:8],
        "scopes": ["reset"],
        "printers": [],
        "until": None,
        "made": "",
        "over": False,
    }


def test_a_revoked_token_is_gone_and_the_others_stay(state: Path) -> None:
    for name in ("tablet", "phone"):
        run(state, "make", name, "--scope", "read")
    assert run(state, "revoke", "tablet").exit_code == 0
    assert [token.name for token in read_tokens(state)] == ["phone"]
    again = run(state, "revoke", "tablet")
    assert again.exit_code == 1
    assert "there are: phone" in again.stderr


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["make", "tablet"], 2, "--scope"),
        (["make", "tablet", "--scope", "all"], 2, "there are: read, report, trip, reset"),
        (["make", "tablet", "--scope", "read", "--printer", "anvl"], 2, "there are: anvil, bramble"),
        (["make", "it's", "--scope", "read"], 2, "1 to 40 printable characters"),
        (["make", "a" * 41, "--scope", "read"], 2, "1 to 40 printable characters"),
        (["make", "\u202eevil", "--scope", "read"], 2, "1 to 40 printable characters"),
        (["make", "tablet", "--scope", "read", "--days", "0"], 2, "--days"),
        (["make", "phone", "--scope", "read"], 1, "there is a token 'phone' already"),
        (["revoke", "tablet"], 1, "there is no token 'tablet'"),
    ],
    ids=range(9),
)
def test_what_cannot_be_is_said_and_changes_nothing(state: Path, words: list[str], code: int, says: str) -> None:
    run(state, "make", "phone", "--scope", "read")
    before = (state / NAME).read_bytes()
    done = run(state, *words)
    assert (done.exit_code, says in done.output) == (code, True), done.output
    assert (state / NAME).read_bytes() == before


@pytest.mark.parametrize("words", [["make", "tablet", "--scope", "read"], ["revoke", "tablet"], ["list"]], ids=lambda words: words[0])
def test_a_damaged_file_is_left_as_it_is(state: Path, words: list[str]) -> None:
    (state / NAME).write_text("{")
    done = run(state, *words)
    assert done.exit_code == 78
    assert f"{NAME} is damaged" in done.stderr
    assert (state / NAME).read_text() == "{"


def test_without_a_state_directory_it_says_where_it_looked(state: Path) -> None:
    done = run(state / "nowhere", "make", "tablet", "--scope", "read")
    assert done.exit_code == 78
    assert "nowhere cannot be used" in done.stderr
