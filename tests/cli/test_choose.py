"""Which settings a guard runs. Rows F44 and F84."""

from collections.abc import Callable
from pathlib import Path

import pytest
from rig.guard import write_settings

from watchdog.cli.choose import MOST_DEATHS, Chosen, choose
from watchdog.guard.starts import Starts
from watchdog.settings.validated_copy import PROVEN, keep

Start = Callable[[], Chosen]


@pytest.fixture
def config(tmp_path: Path) -> Path:
    write_settings(tmp_path / "config", 1883, ["anvil"])
    return tmp_path / "config"


@pytest.fixture
def start(tmp_path: Path, config: Path) -> Start:
    """One start of a guard, as far as its settings; nothing ever ends it well."""
    state = tmp_path / "state"
    state.mkdir()
    return lambda: choose(config, state, Starts(state))


def test_good_settings_run_and_nothing_is_said(start: Start) -> None:
    chosen = start()
    assert chosen.own
    assert chosen.settings is not None
    assert list(chosen.settings.printers) == ["anvil"]
    assert chosen.notices == []


def test_after_three_deaths_the_settings_that_ran_well_come_back_and_it_is_said(start: Start, config: Path, tmp_path: Path) -> None:
    proven = start()
    keep(tmp_path / "state", proven.texts, PROVEN)
    write_settings(config, 1883, ["anvil", "bramble"])
    for _ in range(MOST_DEATHS):
        newer = start()
        assert newer.own
        assert newer.notices == []
        keep(tmp_path / "state", newer.texts)  # as an armed guard does at once: found good, and deadly all the same
    chosen = start()
    assert chosen.settings is not None
    assert list(chosen.settings.printers) == ["anvil"]
    assert not chosen.own
    (notice,) = chosen.notices
    assert notice.startswith("THE GUARD DIED 3 TIMES IN A ROW SOON AFTER ITS START: the last good settings run")
    assert str(config) in notice
    assert "DIED 4 TIMES" in start().notices[0]


def test_mended_settings_are_tried_at_once(start: Start, config: Path, tmp_path: Path) -> None:
    keep(tmp_path / "state", start().texts, PROVEN)
    write_settings(config, 1883, ["anvil", "bramble"])
    assert [start().own for _ in range(MOST_DEATHS + 1)] == [True] * MOST_DEATHS + [False]
    write_settings(config, 1883, ["anvil", "bramble", "cinder"])
    chosen = start()
    assert chosen.own
    assert chosen.notices == []


def test_without_settings_that_ran_well_the_validated_ones_serve(start: Start, tmp_path: Path) -> None:
    for _ in range(MOST_DEATHS):
        keep(tmp_path / "state", start().texts)
    chosen = start()
    assert chosen.settings is not None
    assert "the cause is another one" in chosen.notices[0]


def test_without_any_copy_it_is_tried_again_with_what_there_is(start: Start) -> None:
    for _ in range(MOST_DEATHS):
        start()
    chosen = start()
    assert chosen.settings is not None
    assert chosen.own
    assert "there are no earlier settings to go back to" in chosen.notices[0]


def test_broken_settings_and_deaths_are_both_said(start: Start, config: Path, tmp_path: Path) -> None:
    keep(tmp_path / "state", start().texts)
    (config / "printers" / "anvil.toml").write_text("relays = [")
    for _ in range(MOST_DEATHS):
        assert start().notices[0].startswith("THE SETTINGS ARE BROKEN (1 problem, first: printers/anvil.toml:")
    assert [notice.split(" (")[0].split(":")[0] for notice in start().notices] == [
        "THE SETTINGS ARE BROKEN",
        "THE GUARD DIED 3 TIMES IN A ROW SOON AFTER ITS START",
    ]


def test_broken_settings_without_any_copy_are_not_run(start: Start, config: Path) -> None:
    (config / "printers" / "anvil.toml").write_text("relays = [")
    assert start().settings is None
