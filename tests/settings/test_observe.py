"""Settings that let a printer, or a check, only observe for a while."""

from pathlib import Path

import pytest
from rig.settings_files import good_settings

from watchdog.checks.registry import CHECKS
from watchdog.core.observing import ALWAYS_ARMED
from watchdog.settings.assemble import site_plan
from watchdog.settings.load import load
from watchdog.settings.protection import protection
from watchdog.settings.quick import load_quickly
from watchdog.settings.validated_copy import keep


@pytest.fixture
def observing(config: Path) -> Path:
    cinder, anvil = config / "printers" / "cinder.toml", config / "printers" / "anvil.toml"
    cinder.write_text("observe = { heating_hours = 20 }\n" + cinder.read_text())
    anvil.write_text(anvil.read_text() + "\n[heaters.bed.observe]\nunheated_rise = 10.0\nno_readings = 200\n")
    return config


def test_hours_reach_the_engine_as_seconds_by_the_name_of_the_check(observing: Path) -> None:
    found = load(observing).settings
    assert found is not None
    anvil, cinder = site_plan(found).printers
    assert (anvil.observe_s, cinder.observe_s) == (0.0, 72_000.0)
    assert dict(anvil.heaters[0].observe_s) == {"unheated rise": 36_000.0, "no readings": 720_000.0}
    assert [dict(printer.heaters[-1].observe_s) for printer in (anvil, cinder)] == [{}, {}]


def test_without_them_nothing_observes(config: Path) -> None:
    found = load(config).settings
    assert found is not None
    for printer in site_plan(found).printers:
        assert printer.observe_s == 0.0
        assert not any(heater.observe_s for heater in printer.heaters)


def test_what_only_observes_counts_as_not_protected(observing: Path) -> None:
    found = load(observing).settings
    assert found is not None
    printers = protection(found).printers
    assert "bed: for its first 10 heating hours the check unheated rise only observes" in printers["anvil"].lacks
    assert (
        printers["cinder"].lacks[0].startswith("for its first 20 heating hours it only observes: all checks but ceiling and out of range")
    )


def test_a_quick_start_reads_the_same(observing: Path) -> None:
    loaded = load(observing)
    state = observing.parent / "state"
    keep(state, loaded.texts)
    quick = load_quickly(observing, state)
    assert quick.settings == loaded.settings


@pytest.mark.parametrize("entry", CHECKS, ids=lambda entry: entry.key)
def test_every_check_may_observe_but_those_that_are_always_armed(tmp_path: Path, entry: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    config = good_settings(tmp_path)
    anvil = config / "printers" / "anvil.toml"
    key = getattr(entry, "key", "")
    anvil.write_text(anvil.read_text() + f"\n[heaters.bed.observe]\n{key} = 1.5\n")
    armed = getattr(entry, "always_armed", False)
    assert [problem.code for problem in load(config).problems] == ["always-armed"] * armed


def test_settings_and_engine_agree_on_what_is_always_armed() -> None:
    assert tuple(entry.name for entry in CHECKS if entry.always_armed) == ALWAYS_ARMED
