"""`heatwarden guard` starts without what only people need, and means the same as through the whole command line."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from watchdog.cli import guard
from watchdog.cli.app import app
from watchdog.cli.main import CONFIG_DEFAULT, CONFIG_VARIABLE, plain_guard

PLAIN = [
    ["guard"],
    ["guard", "--config", "/a"],
    ["guard", "--state", "/b"],
    ["guard", "--config", "/a", "--state", "/b"],
    ["guard", "--state", "/b", "--config", "/a"],
    ["guard", "--end-when-stuck", "20", "--config", "/a"],
    ["guard", "--end-when-stuck", "0"],
]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What the whole command line runs."""
    calls: list[tuple[Any, ...]] = []

    def run(*words: Any) -> int:
        calls.append(words)
        return 0

    monkeypatch.setattr(guard, "run", run)
    return calls


@pytest.mark.parametrize("words", PLAIN, ids=" ".join)
@pytest.mark.parametrize("variable", ["", "/from/the/environment"])
def test_the_short_way_means_the_same_as_the_whole_command_line(
    words: list[str], variable: str, asked: list[tuple[Any, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_VARIABLE, variable)
    assert CliRunner().invoke(app, words).exit_code == 0
    assert plain_guard(words) == asked[0]


def test_without_any_word_the_default_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(CONFIG_VARIABLE, raising=False)
    assert plain_guard(["guard"]) == (CONFIG_DEFAULT, None, 0.0)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["status"],
        ["guard", "--help"],
        ["guard", "--config"],
        ["guard", "--config", "--state"],
        ["guard", "--config", "/a", "--config", "/b"],
        ["guard", "--config=/a"],
        ["guard", "--conf", "/a"],
        ["guard", "here", "there"],
        ["guard", "--end-when-stuck", "4"],
        ["guard", "--end-when-stuck", "nan"],
        ["--config", "/a", "guard"],
    ],
    ids=" ".join,
)
def test_anything_else_is_left_to_the_whole_command_line(words: list[str]) -> None:
    assert plain_guard(words) is None


@pytest.mark.parametrize("seconds", ["4", "-1", "nan", "2.5e9"])
def test_a_stall_too_short_or_no_number_is_refused(seconds: str, asked: list[tuple[Any, ...]]) -> None:
    answer = CliRunner().invoke(app, ["guard", "--end-when-stuck", seconds])
    assert answer.exit_code == 2
    assert "--end-when-stuck" in answer.output
    assert asked == []


def test_a_guard_comes_to_its_wiring_without_validator_database_web_and_command_line(tmp_path: Path) -> None:
    script = (
        "import sys; sys.argv = ['heatwarden', 'guard', '--config', sys.argv[1], '--state', sys.argv[2]]\n"
        "from watchdog.cli.main import main\n"
        "from watchdog import wiring\n"
        "heavy = {'typer', 'rich', 'pydantic', 'sqlalchemy', 'httpcore2', 'fastapi'}\n"
        "def told(*_, **__): print(*sorted(heavy & set(sys.modules))); sys.exit(7)\n"
        "wiring.Standing = told\n"
        "main()\n"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "settings"), str(tmp_path / "state")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (7, ""), done.stderr
