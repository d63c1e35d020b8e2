"""A router that restarts takes all voices of a printer at once; what takes one of them is something else."""

import pytest
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, Tick, Unusable
from watchdog.core.plan import PrinterPlan

HOLDS = {"bed": 60.0, "hotend": 215.0}


def words(heaters: tuple[str, ...], begin: int, end: int) -> list[Input]:
    return [Reading("anvil", name, float(at), HOLDS[name] + 0.1 * (at % 3), HOLDS[name]) for at in range(begin, end) for name in heaters]


def trips(*items: Input) -> list[tuple[str, float]]:
    engine = Engine(site(PrinterPlan("anvil", (heater(), heater("hotend")), ("plug",))), 0.0)
    return [(event.heater, event.at) for event in events(feed(engine, *items), "trip")]


@pytest.mark.parametrize("gone_s", [20, 45, 60, 75])
def test_a_router_that_is_back_within_its_time_cuts_nothing(gone_s: int) -> None:
    """40 to 75 s (common practice for a home router that starts again)."""
    assert trips(*words(("bed", "hotend"), 0, 60), *words(("bed", "hotend"), 60 + gone_s, 200)) == []


def test_one_that_is_not_back_cuts() -> None:
    assert trips(*words(("bed", "hotend"), 0, 60), Tick(500.0)) == [("bed", 139.0)]


@pytest.mark.parametrize(("silent", "speaks", "cut_s"), [("hotend", "bed", 89.0), ("bed", "hotend", 104.0)])
def test_one_heater_that_falls_silent_alone_gets_no_more_than_its_grace(silent: str, speaks: str, cut_s: float) -> None:
    assert trips(*words(("bed", "hotend"), 0, 60), *words((speaks,), 60, 200)) == [(silent, cut_s)]


def test_a_heater_that_stays_silent_when_the_other_is_back_is_cut_soon() -> None:
    ((name, at),) = trips(*words(("bed", "hotend"), 0, 60), *words(("bed",), 110, 200))
    assert name == "hotend"
    assert 110.0 <= at <= 116.0


@pytest.mark.parametrize(("heater_name", "at_c", "cut_s"), [("hotend", 150.0, 89.0), ("bed", 45.0, 104.0)])
def test_one_that_was_heating_up_gets_no_more_than_its_grace(heater_name: str, at_c: float, cut_s: float) -> None:
    """Its board may hang with the heater on."""
    rises = [Reading("anvil", heater_name, float(at), at_c - 0.2 * (60 - at), HOLDS[heater_name]) for at in range(60)]
    cold = [
        Reading("anvil", next(name for name in HOLDS if name != heater_name), float(at), 22.0 + 0.1 * (at % 2), 0.0) for at in range(60)
    ]
    assert trips(*sorted([*rises, *cold], key=lambda reading: reading.at), Tick(500.0)) == [(heater_name, cut_s)]


def test_words_without_use_are_words() -> None:
    """A shorted sensor is sent as something that is no number: the network is there."""
    useless = [Unusable("anvil", name, float(at), "not a finite number") for at in range(60, 200) for name in HOLDS]
    assert trips(*words(("bed", "hotend"), 0, 60), *useless) == [("hotend", 89.0)]
