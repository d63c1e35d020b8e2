"""What is no evidence changes no verdict: every scenario again, with readings that say nothing new in between."""

from collections.abc import Callable
from dataclasses import replace
from itertools import chain
from pathlib import Path

import orjson
import pytest
from rig.feeding import events
from rig.scenario import Scenario, inputs_of, load, plan_of

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading
from watchdog.core.outputs import Output

FOLDER = Path(__file__).parent.parent / "scenarios"
CHECKS = ("unheated_rise", "hot_while_off", "stuck", "no_response", "power_while_off", "jumping", "disagreement", "commanded_too_hot")
SCENARIOS = [load(path) for check in CHECKS for path in sorted((FOLDER / check).glob("*.toml"))]
PERIODIC_AND_QUIET = [entry for entry in SCENARIOS if entry.verdict == "quiet" and entry.told.get("reports") != "on change"]
EQUAL_STAMPS = 969
EVERY = 97
"""Each so many readings are disturbed."""


def said_again(reading: Reading) -> list[Input]:
    """A source or a log that repeats one row hundreds of times, stamp and all."""
    return [reading] * EQUAL_STAMPS


def from_a_clock_set_back(reading: Reading) -> list[Input]:
    return [replace_temperature(reading, 999.0, reading.at - 3600.0), replace_temperature(reading, -45.0, reading.at - 1.0)]


def empty(reading: Reading) -> list[Input]:
    return [Reading(reading.printer, reading.heater, reading.at)]


def kept_by_the_broker(reading: Reading) -> list[Input]:
    return [reading._replace(temperature_c=250.0, target_c=None, duty=None, retained=True)]


def of_another_sensor(reading: Reading) -> list[Input]:
    return [reading._replace(temperature_c=20.0, target_c=None, duty=None, sensor="glued")]


def replace_temperature(reading: Reading, temperature_c: float, at: float) -> Reading:
    return reading._replace(temperature_c=temperature_c, at=at)


def first_trip(outputs: list[Output]) -> tuple[str, float] | None:
    return next(((event.check, event.at) for event in events(outputs, "trip")), None)


def verdict(scenario: Scenario, disturb: Callable[[Reading], list[Input]] = lambda _: []) -> tuple[str, float] | None:
    """The first trip, if any."""
    engine, outputs = Engine(plan_of(scenario), 0.0), list[Output]()
    for place, item in enumerate(inputs_of(scenario)):
        outputs += engine.feed(item)
        if isinstance(item, Reading) and item.heater == scenario.told["kind"] and place % EVERY == EVERY - 1:
            outputs += chain.from_iterable(engine.feed(more) for more in disturb(item))
    return first_trip(outputs)


@pytest.mark.parametrize("disturb", [said_again, from_a_clock_set_back, empty, kept_by_the_broker, of_another_sensor])
@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_what_is_no_evidence_changes_no_verdict(scenario: Scenario, disturb: Callable[[Reading], list[Input]]) -> None:
    if disturb is of_another_sensor:  # no evidence for any check but the one that compares sensors
        told = {**scenario.told, "sensors": {"glued": {"interval_s": 40.0, "temperature": "20"}}}
        scenario = replace(scenario, told=told, limits={**scenario.limits, "disagreement": {"apart_k": 500.0}})
    assert verdict(scenario, disturb) == verdict(scenario)


@pytest.mark.parametrize("wild_c", [-45.0, 999.0, 0.0])
@pytest.mark.parametrize("scenario", PERIODIC_AND_QUIET, ids=lambda scenario: scenario.name)
def test_one_wild_sample_makes_no_trip_of_a_healthy_heater(scenario: Scenario, wild_c: float) -> None:
    """Of an open or shorted wire, or of a bad plug, in the first, second and third quarter."""
    items = inputs_of(scenario)
    spoken = [place for place, item in enumerate(items) if isinstance(item, Reading) and item.heater == scenario.told["kind"]]
    for share in (0.25, 0.5, 0.75):
        place = spoken[int(share * len(spoken))]
        spoilt = items[place]
        assert isinstance(spoilt, Reading)
        if spoilt.temperature_c is not None:
            items[place] = spoilt._replace(temperature_c=wild_c)
    engine = Engine(plan_of(scenario), 0.0)
    assert first_trip([output for item in items for output in engine.feed(item)]) is None


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_a_scenario_that_is_saved_and_restored_half_way_goes_on_to_the_bit(scenario: Scenario, share: float) -> None:
    items = inputs_of(scenario)
    place = int(share * len(items))
    engine, second = Engine(plan_of(scenario), 0.0), Engine(plan_of(scenario), 0.0)
    for item in items[:place]:
        engine.feed(item)
    second.restore(orjson.loads(orjson.dumps(engine.snapshot())))
    for item in items[place:]:
        assert second.feed(item) == engine.feed(item)
    assert second.snapshot() == engine.snapshot()
    assert second.take_headroom() == engine.take_headroom()
