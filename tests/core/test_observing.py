"""A printer or a check that only observes: for so many heating hours, ceiling and out of range never, and then armed by itself."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed, steady
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, Suspended, Tick
from watchdog.core.observing import HOUR_S
from watchdog.core.outputs import Event
from watchdog.core.plan import HeaterPlan, PrinterPlan
from watchdog.core.remaining import Remaining, remaining_of
from watchdog.core.status import site_status


def plan_of(*, hours: float = 0.0, checks: dict[str, float] | None = None, kind: str = "bed") -> Any:
    plain = heater(kind)
    observed = {check: value * HOUR_S for check, value in (checks or {}).items()}
    bed = HeaterPlan(
        plain.name, plain.kind, plain.source, plain.checks, plain.cooling, plain.plausible_c, plain.ceiling_c, observe_s=observed
    )
    return site(PrinterPlan("anvil", (bed,), ("plug",), observe_s=hours * HOUR_S))


def observing(*, hours: float = 0.0, checks: dict[str, float] | None = None, remaining: Remaining | None = None) -> Engine:
    engine = Engine(plan_of(hours=hours, checks=checks), 0.0)
    engine.start([], remaining or Remaining())
    return engine


def shown(engine: Engine, now: float = 0.0) -> dict[str, Any]:
    found: dict[str, Any] = site_status(engine.site, 0.0, now)["printers"][0]
    return found


SILENT = [*steady(80.0, 0.0, 5, target_c=80.0), Tick(120.0)]
"""Hot, asked for heat, and then nothing more: no readings cuts."""


@pytest.mark.parametrize("by", [{"hours": 2.0}, {"checks": {"no readings": 2.0}}], ids=["printer", "check"])
def test_what_observes_tells_what_it_would_have_cut_with_the_numbers(by: dict[str, Any]) -> None:
    outputs = feed(observing(**by), *SILENT)
    assert not events(outputs, "trip")
    (told,) = events(outputs, "would have cut")
    assert (told.check, told.heater, told.level) == ("no readings", "bed", "warning")
    assert "nothing fresh of bed" in told.sentence
    assert told.numbers["target_c"] == 80.0


def test_a_check_that_observes_leaves_the_others_armed() -> None:
    outputs = feed(observing(checks={"overshoot": 2.0}), *SILENT)
    assert [event.check for event in events(outputs, "trip")] == ["no readings"]


@pytest.mark.parametrize(("temperature_c", "check"), [(130.0, "ceiling"), (300.0, "out of range")])
def test_ceiling_and_out_of_range_stay_armed(temperature_c: float, check: str) -> None:
    outputs = feed(observing(hours=200.0, checks={check: 200.0}), *steady(60.0, 0.0, 3), *steady(temperature_c, 3.0, 60))
    assert check in {event.check for event in events(outputs, "trip", "also")}


def test_at_the_start_it_is_on_record_what_only_observes() -> None:
    engine = Engine(plan_of(hours=20.0, checks={"stuck": 5.0}), 0.0)
    told = events(engine.start([]), "observing")
    assert [(event.heater, event.check, event.level) for event in told] == [("", "", "warning"), ("bed", "stuck", "warning")]
    assert told[0].sentence == "anvil only observes, for 20.0 heating hours more"


def test_status_says_how_many_hours_are_left() -> None:
    engine = observing(hours=2.0, checks={"stuck": 3.0})
    feed(engine, *steady(60.0, 0.0, 1801, target_c=60.0))
    printer = shown(engine)
    assert printer["state"] == "not protected"
    assert [(entry["check"], entry["hours"], entry["hours_left"]) for entry in printer["observes"]] == [("", 2.0, 1.5), ("stuck", 3.0, 2.5)]
    assert "it only observes for 1.5 heating hours more: all checks but ceiling and out of range do not cut" in printer["why_not"]
    assert "the check stuck of bed only observes for 2.5 heating hours more" in printer["why_not"]


def test_when_its_hours_are_over_it_is_armed_by_itself_at_the_exact_time() -> None:
    engine = observing(hours=0.01)
    outputs = feed(engine, *steady(20.0, 0.0, 10), *steady(60.0, 10.0, 60, target_c=60.0))
    (armed,) = events(outputs, "armed")
    assert (armed.at, armed.level, armed.sentence) == (46.0, "info", "anvil has observed for 0.01 heating hours: from now on it cuts")
    assert shown(engine)["observes"] == []
    assert not engine.site.observes
    assert [event.check for event in events(feed(engine, Tick(500.0)), "trip")] == ["no readings"]


@pytest.mark.parametrize(
    ("reading", "counts"),
    [
        ({"temperature_c": 50.0, "target_c": 0.0}, False),
        ({"temperature_c": 50.1, "target_c": 0.0}, True),
        ({"temperature_c": 20.0, "target_c": 40.0}, True),
        ({"temperature_c": 20.0, "target_c": 0.0, "duty": 0.3}, True),
        ({"temperature_c": 20.0, "duty": 0.0}, False),
        ({"temperature_c": 20.0}, False),
    ],
)
def test_only_time_counts_in_which_heat_is_asked_for_or_it_is_hot(reading: dict[str, Any], *, counts: bool) -> None:
    engine = observing(hours=1.0)
    feed(engine, *(Reading("anvil", "bed", float(at), **reading) for at in range(101)))
    assert shown(engine)["observes"][0]["hours_left"] == (round(1.0 - 100 / HOUR_S, 5) if counts else 1.0)


def test_a_heater_that_was_switched_off_warm_uses_up_no_hours() -> None:
    engine = observing(hours=1.0)
    outputs = feed(engine, *steady(80.0, 0.0, 11, target_c=0.0), Tick(3000.0))
    stopped = next(event.at for event in events(outputs, "would have cut", "readings stopped"))
    left = remaining_of(engine.site, 3000.0).used_s
    assert left is not None
    assert 10.0 < left["anvil", "", ""] < stopped
    feed(engine, *steady(80.0, 3000.0, 11))
    again = remaining_of(engine.site, 3010.0).used_s
    assert again is not None
    assert again["anvil", "", ""] == pytest.approx(left["anvil", "", ""] + 10.0)


@given(
    st.lists(st.tuples(st.sampled_from([0.25, 0.5, 1.0]), st.sampled_from([20.0, 49.0, 55.0]), st.sampled_from([0.0, 60.0])), min_size=1)
)
def test_it_is_armed_after_exactly_its_time_of_heating(steps: list[tuple[float, float, float]]) -> None:
    engine = observing(hours=10.0 / HOUR_S)
    at, used_s, expected, heating = 0.0, 0.0, None, False
    items: list[Input] = []
    for step_s, temperature_c, target_c in steps * 4:
        if heating and used_s < 10.0 <= used_s + step_s:
            expected = at + 10.0 - used_s
        used_s += step_s if heating else 0.0
        at += step_s
        items.append(Reading("anvil", "bed", at, temperature_c, target_c))
        heating = temperature_c > 50.0 or target_c > 0.0
    armed = events(feed(engine, *items), "armed")
    assert [event.at for event in armed] == ([] if expected is None else [pytest.approx(expected)])


def test_what_was_found_while_it_observed_cuts_at_the_very_end_if_it_still_stands() -> None:
    """Silence is found by a deadline, once; nobody asks again by himself."""
    outputs = feed(observing(hours=100.0 / HOUR_S, checks={"stuck": 1.0}), *SILENT)
    assert [event.check for event in events(outputs, "would have cut")] == ["no readings"]
    assert [(event.at, event.check) for event in events(outputs, "trip")] == [(100.0, "no readings")]


def test_hours_used_before_the_start_count() -> None:
    engine = Engine(plan_of(hours=1.0, checks={"stuck": 1.0}), 0.0)
    told = engine.start([], Remaining({("anvil", "", ""): 1800.0, ("anvil", "bed", "stuck"): 3600.0, ("cinder", "", ""): 5.0}))
    assert [event.sentence for event in events(told, "observing")] == ["anvil only observes, for 0.5 heating hours more"]
    assert [entry["check"] for entry in shown(engine)["observes"]] == [""]
    used = remaining_of(engine.site, 0.0).used_s
    assert used == {("anvil", "", ""): 1800.0, ("anvil", "bed", "stuck"): 3600.0}


def test_hours_that_nobody_knows_count_as_used_and_loudly() -> None:
    engine = Engine(plan_of(hours=20.0), 0.0)
    told = engine.start([], Remaining(None, why="the file is damaged"))
    assert [(event.kind, event.level) for event in told if isinstance(event, Event)] == [("settings", "warning"), ("armed", "warning")]
    assert shown(engine)["observes"] == []
    assert [event.check for event in events(feed(engine, *SILENT), "trip")] == ["no readings"]


def test_time_before_a_sleep_counts_and_none_of_the_sleep() -> None:
    engine = observing(hours=1.0)
    feed(engine, *steady(60.0, 0.0, 11, target_c=60.0), Suspended(12.0, 600.0), Tick(500.0))
    used = remaining_of(engine.site, 500.0).used_s
    assert used == {("anvil", "", ""): 12.0}


def test_hours_that_ended_before_a_sleep_was_noticed_are_over() -> None:
    engine = observing(hours=11.0 / HOUR_S)
    outputs = feed(engine, *steady(60.0, 0.0, 11, target_c=60.0), Suspended(12.0, 600.0), Tick(12.0))
    assert [event.at for event in events(outputs, "armed")] == [12.0]
