"""Every problem that settings can have, with the exact words that people get to read."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rig.settings_files import cases, spoil

from watchdog.settings.catalogue import CATALOGUE
from watchdog.settings.load import load
from watchdog.settings.problem import shown

SECRETS = ("hunter2", "correct horse")


@pytest.mark.parametrize("case", cases(), ids=lambda case: case["name"])
def test_bad_settings_are_told_in_exactly_these_words(case: dict[str, Any], config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if "owned_by_nobody" in case and os.geteuid() != 0:
        pytest.skip("only root can give a file away")
    if case.get("credentials"):
        monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(config.parent / "state"))
    spoil(config, case)

    loaded = load(config)

    expected = [line.replace("{here}", str(config.parent)).replace("{uid}", str(os.geteuid())) for line in case["expect"]]
    assert [str(problem) for problem in loaded.problems] == expected
    assert loaded.settings is None
    assert case["code"] in {problem.code for problem in loaded.problems}
    assert not any(secret in line for secret in SECRETS for line in map(str, loaded.problems))
    assert all(line.isprintable() for line in map(str, loaded.problems))


def test_every_problem_has_its_bad_file() -> None:
    assert {case["code"] for case in cases()} == set(CATALOGUE)


def test_every_problem_that_the_rules_name_is_in_the_catalogue() -> None:
    sources = "".join(path.read_text() for path in Path(str(sys.modules["watchdog.settings.load"].__file__)).parent.glob("*.py"))
    assert [code for code in CATALOGUE if sources.count(f'"{code}"') < 2] == []


def test_the_good_settings_have_no_problem(config: Path) -> None:
    assert load(config).problems == ()


def test_a_pipe_in_place_of_a_file_blocks_nobody(config: Path) -> None:
    (config / "printers" / "cinder.toml").unlink()
    os.mkfifo(config / "printers" / "cinder.toml")
    assert [problem.code for problem in load(config).problems] == ["unreadable"]


def test_leavings_of_editors_are_no_printers(config: Path) -> None:
    (config / "printers" / ".cinder.toml.swp").write_bytes(b"\0")
    (config / "printers" / "cinder.toml~").write_text("old")
    assert load(config).problems == ()


def test_a_secret_that_the_group_can_read_is_fine(config: Path) -> None:
    (config.parent / "secret").chmod(0o640)
    assert load(config).problems == ()


def test_a_systemd_credential_needs_no_mode(config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    main = config / "heatwarden.toml"
    main.write_text(main.read_text().replace(f'password_file = "{tmp_path}/secret"', 'password_credential = "broker"'))
    (tmp_path / "credentials").mkdir()
    (tmp_path / "credentials" / "broker").write_text("secret")
    (tmp_path / "credentials" / "broker").chmod(0o644)
    assert load(config).problems == ()  # outside of the unit, nobody can look
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path / "credentials"))
    assert load(config).problems == ()


def test_two_sound_pointers_into_one_message_are_fine(config: Path) -> None:
    found = load(config).settings
    assert found is not None
    anvil = found.printers["anvil"]
    assert anvil.heaters["bed"].readings.topic == anvil.heaters["hotend"].readings.topic


def test_row_f82_without_its_line_finder_a_problem_is_still_told(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "watchdog.settings.lines", None)
    main = config / "heatwarden.toml"
    main.write_text(main.read_text().replace("allow_commands", "alow_commands"))
    assert next((problem.code, problem.line) for problem in load(config).problems) == ("unknown-key", 0)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80), st.sampled_from([("relays", "plug", "broker"), ("brokers", "main", "user"), ("site",)]))
def test_what_was_found_is_always_fit_for_a_terminal(value: str, path: tuple[str, ...]) -> None:
    assert shown(path, value).isprintable()
    assert len(shown(path, value)) < 500


@settings(max_examples=200, deadline=None)
@given(st.text(min_size=5, max_size=20), st.sampled_from(["password", "my_password", "Token", "api_key", "client_secret", "private_key"]))
def test_what_stands_under_a_secret_key_is_never_shown(value: str, key: str) -> None:
    assert shown(("brokers", "main", key, "value"), value) == "a text (not shown)"


def test_a_start_without_problems_loads_nothing_that_only_problems_need(config: Path) -> None:
    program = (
        "import sys; from pathlib import Path; from watchdog.settings.load import load\n"
        f"assert load(Path({str(config)!r})).settings\n"
        "print([name for name in ('tree_sitter', 'typer', 'rich', 'difflib', 'watchdog.settings.catalogue') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
