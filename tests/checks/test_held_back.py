"""Readings that were held back on the way arrive at one moment: that is no sudden rise."""

from math import pi, sin

from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.plan import PrinterPlan

PERIOD_S = 2.0
SWING = [180.0] * 30 + [round(182.0 + 30.0 * sin(pi * place / 20.0), 1) for place in range(21)] + [182.0] * 5
"""A badly tuned loop swings 30 K past its target of 182 degC and comes back: more slowly than full power would do it."""

FACTS = {"rated_w": 60.0, "block_g": 20.0}


def verdicts(values: list[float], held_back: range) -> list[tuple[str, float]]:
    """What a hotend hears, of whose readings those `held_back` come together with the next one."""
    engine = Engine(
        site(PrinterPlan("anvil", (heater(name="bed", kind="hotend", interval_s=2.0 * PERIOD_S, facts=FACTS),), ("plug",))), 0.0
    )
    times = [PERIOD_S * (held_back.stop if place in held_back else place) for place in range(len(values))]
    items = [Reading("anvil", "bed", at, value, 182.0) for at, value in zip(times, values, strict=True)]
    return [(event.check, event.at) for event in events(feed(engine, *items, Tick(items[-1].at)), "trip")]


def test_a_swing_whose_readings_were_held_back_is_no_runaway() -> None:
    assert verdicts(SWING, range(0)) == []
    for first in range(30, 50):
        for count in range(2, 8):
            assert verdicts(SWING, range(first, first + count)) == [], (first, count)


def test_a_runaway_whose_readings_were_held_back_is_cut_soon_after() -> None:
    runaway = [180.0] * 30 + [180.0 + 5.0 * place for place in range(1, 18)]
    ((check, at_once),) = verdicts(runaway, range(0))
    assert check == "overshoot"
    for count in range(2, 8):
        ((check, at),) = verdicts(runaway, range(32, 32 + count))
        assert at <= max(at_once, PERIOD_S * (32 + count)) + 3 * PERIOD_S
