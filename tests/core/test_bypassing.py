"""A bypass: one check of one printer, by a person, with an end. Rows F85 and S27."""

from typing import Any

import pytest
from rig.feeding import events, feed, orders, readings, steady
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Bypass, EndBypass, Reading, Suspended, Tick, TripByHand
from watchdog.core.outputs import Mark
from watchdog.core.plan import PrinterPlan
from watchdog.core.remaining import Left, Remaining
from watchdog.core.status import site_status
from watchdog.guard.status_share import reasons_of


def engine_of(*names: str) -> Engine:
    """Printers with a bed and a hotend each."""
    printers = [PrinterPlan(name, (heater(printer=name), heater("hotend", printer=name)), ("plug",)) for name in names or ("anvil",)]
    return Engine(site(*printers), 0.0)


def bypass(at: float, seconds: float, check: str = "no readings", *, printer: str = "anvil", person: str = "Robin", **more: Any) -> Bypass:
    return Bypass(printer, at, check, person, **({"reason": "tuning"} | more), seconds=seconds)


def hot_then_silent(heater_name: str = "bed", start: float = 0.0) -> list[Any]:
    return [Reading("anvil", heater_name, start + at, 80.0, 80.0) for at in range(5)]


def shown(engine: Engine, now: float = 0.0) -> dict[str, Any]:
    found: dict[str, Any] = site_status(engine.site, 0.0, now)["printers"][0]
    return found


@pytest.mark.parametrize("name", ["bed", "hotend"])
def test_while_it_runs_the_check_cuts_no_heater_of_the_printer(name: str) -> None:
    outputs = feed(engine_of(), bypass(0.0, 600.0), *hot_then_silent(name), Tick(300.0))
    assert not events(outputs, "trip")
    (told,) = events(outputs, "would have cut")
    assert (told.check, told.heater) == ("no readings", name)


def test_it_leaves_other_printers_and_other_checks_alone() -> None:
    engine = engine_of("anvil", "bramble")
    outputs = feed(engine, bypass(0.0, 600.0), bypass(0.0, 600.0, "overshoot", printer="bramble"))
    outputs = feed(engine, *hot_then_silent(), *(Reading("bramble", "bed", 5.0 + at, 80.0, 80.0) for at in range(5)), Tick(300.0))
    assert [(event.printer, event.check) for event in events(outputs, "trip")] == [("bramble", "no readings")]


def test_ceiling_out_of_range_and_a_person_cut_all_the_same() -> None:
    outputs = feed(engine_of(), bypass(0.0, 600.0), *steady(130.0, 0.0, 60))
    assert [event.check for event in events(outputs, "trip")] == ["ceiling"]
    outputs = feed(engine_of(), bypass(0.0, 600.0), *steady(60.0, 0.0, 3), *steady(-42.4, 3.0, 60))
    assert [event.check for event in events(outputs, "trip")] == ["out of range"]
    outputs = feed(engine_of(), bypass(0.0, 600.0), TripByHand("anvil", 1.0, "Robin", "smoke"))
    assert [event.check for event in events(outputs, "trip")] == ["by hand"]


@pytest.mark.parametrize(
    ("item", "says"),
    [
        (bypass(1.0, 60.0, "ceiling"), "ceiling is never bypassed"),
        (bypass(1.0, 60.0, "out of range", long=True), "out of range is never bypassed"),
        (bypass(1.0, 60.0, "probation"), "anvil has no check 'probation'; these may be bypassed: no readings, "),
        (bypass(1.0, 60.0, ""), "anvil has no check ''"),
        (bypass(1.0, 60.0, person=" "), "the name of a person and a reason"),
        (bypass(1.0, 60.0, reason=""), "the name of a person and a reason"),
        (bypass(1.0, 0.0), "more than 0 and at most 480 minutes"),
        (bypass(1.0, -60.0), "more than 0 and at most 480 minutes"),
        (bypass(1.0, float("nan")), "more than 0 and at most 480 minutes"),
        (bypass(1.0, float("inf"), long=True), "more than 0 and at most 480 minutes"),
        (bypass(1.0, 480 * 60.0 + 0.1, long=True), "more than 0 and at most 480 minutes"),
        (bypass(1.0, 3600.1), "more than 60 minutes must be meant: say so (--long)"),
    ],
    ids=lambda value: f"{value.check} {value.seconds:g} s by {value.person} {value.reason}" if isinstance(value, Bypass) else "",
)
def test_what_is_refused_is_on_record_and_changes_nothing(item: Bypass, says: str) -> None:
    engine = engine_of()
    (refused,) = events(feed(engine, item), "bypass refused")
    assert says in refused.sentence
    assert refused.person == item.person
    assert shown(engine)["bypasses"] == []
    assert [event.check for event in events(feed(engine, *hot_then_silent(), Tick(300.0)), "trip")] == ["no readings"]


@pytest.mark.parametrize(("seconds", "long"), [(3600.0, False), (480 * 60.0, True), (0.5, False)])
def test_the_bounds_themselves_are_allowed(seconds: float, *, long: bool) -> None:
    engine = engine_of()
    (begun,) = events(feed(engine, bypass(1.0, seconds, long=long)), "bypass")
    assert (begun.level, begun.person, begun.check, begun.numbers) == ("warning", "Robin", "no readings", {"seconds": seconds})
    (over,) = events(feed(engine, Tick(1e6)), "bypass over")
    assert over.at == 1.0 + seconds


def test_status_shows_check_person_reason_and_time_left() -> None:
    engine = engine_of()
    feed(engine, bypass(10.0, 600.0))
    printer = shown(engine, 70.0)
    assert printer["bypasses"] == [{"check": "no readings", "left_s": 540.0, "person": "Robin", "reason": "tuning"}]
    assert printer["state"] == "not protected"
    assert "no readings is bypassed for 9 min more by Robin: tuning" in printer["why_not"]


def test_who_asks_without_a_token_hears_of_the_bypass_but_not_whose_it_is() -> None:
    engine = engine_of("anvil", "bramble")
    feed(engine, bypass(10.0, 600.0), TripByHand("bramble", 11.0, "Jo", "it smells"), Tick(70.0))
    reasons = reasons_of(site_status(engine.site, 70.0))
    assert "anvil: no readings is bypassed for 9 min more" in reasons
    assert "bramble was tripped and is latched: tripped by hand" in reasons
    assert not any(word in reason for reason in reasons for word in ("Robin", "tuning", "Jo", "smells"))


def test_silence_that_still_stands_cuts_the_very_moment_the_bypass_runs_out() -> None:
    outputs = feed(engine_of(), bypass(0.0, 600.0), *hot_then_silent(), Tick(10_000.0))
    (over,), (trip,) = events(outputs, "bypass over"), events(outputs, "trip")
    assert (over.at, over.level) == (600.0, "info")
    assert (trip.at, trip.check) == (600.0, "no readings")
    assert "no readings is armed again: the bypass by Robin has run out" in over.sentence
    assert orders(outputs)[0] == "plug"


def test_a_rise_that_still_stands_cuts_with_the_next_reading() -> None:
    rise = [20.0 + 0.5 * at for at in range(400)]
    start = [Reading("anvil", "bed", 0.0, 20.0, 0.0)]
    plain = next(event.at for event in events(feed(engine_of(), *start, *readings(1.0, *rise)), "trip") if event.check == "unheated rise")
    engine = engine_of()
    ends = plain + 20.3
    outputs = feed(engine, *start, bypass(0.5, ends - 0.5, "unheated rise"), *readings(1.0, *rise))
    assert events(outputs, "would have cut")
    (trip,) = (event for event in events(outputs, "trip") if event.check == "unheated rise")
    assert ends < trip.at <= ends + 1.0


def test_what_no_longer_stands_does_not_cut() -> None:
    engine = engine_of()
    outputs = feed(engine, bypass(0.0, 600.0), *hot_then_silent(), Tick(300.0), *hot_then_silent(start=590.0), Tick(601.0))
    assert events(outputs, "would have cut")
    assert events(outputs, "bypass over")
    assert not events(outputs, "trip")


def test_a_person_who_ends_it_has_what_stands_cut_right_then() -> None:
    engine = engine_of()
    feed(engine, bypass(0.0, 600.0), *hot_then_silent(), Tick(300.0))
    outputs = feed(engine, EndBypass("anvil", 301.0, "Jo"))
    assert [(event.at, event.check) for event in events(outputs, "trip")] == [(301.0, "no readings")]
    (over,) = events(outputs, "bypass over")
    assert (over.person, over.sentence) == ("Jo", "no readings is armed again: Jo has ended the bypass")
    assert outputs[0] == Mark("anvil")
    assert not events(feed(engine, Tick(1000.0)), "bypass over")


def test_one_of_several_can_be_ended() -> None:
    engine = engine_of()
    feed(engine, bypass(0.0, 600.0), bypass(0.0, 600.0, "stuck"))
    feed(engine, EndBypass("anvil", 1.0, "Jo", "stuck"))
    assert [entry["check"] for entry in shown(engine)["bypasses"]] == ["no readings"]
    feed(engine, bypass(2.0, 600.0, "stuck"), EndBypass("anvil", 3.0, "Jo"))
    assert shown(engine)["bypasses"] == []


def test_a_second_one_on_top_takes_the_place_of_the_first_and_says_so() -> None:
    engine = engine_of()
    (first, second) = events(feed(engine, bypass(0.0, 3600.0), bypass(600.0, 60.0, person="Jo")), "bypass")
    assert "in place of" not in first.sentence
    assert "no readings is bypassed for 1 min by Jo, in place of 50.0 min left of that by Robin: tuning" in second.sentence
    (over,) = events(feed(engine, Tick(10_000.0)), "bypass over")
    assert (over.at, over.person) == (660.0, "Jo")


def test_a_refused_second_one_leaves_the_first() -> None:
    engine = engine_of()
    feed(engine, bypass(0.0, 600.0), bypass(1.0, 7200.0))
    assert shown(engine, 1.0)["bypasses"][0]["left_s"] == 599.0


def test_a_sleep_of_the_computer_shortens_it() -> None:
    engine = engine_of()
    feed(engine, bypass(0.0, 600.0), Suspended(100.0, 300.0))
    assert shown(engine, 100.0)["bypasses"][0]["left_s"] == 200.0
    (over,) = events(feed(engine, Suspended(150.0, 3000.0), Tick(150.0)), "bypass over")
    assert over.at == 150.0


def test_it_outlives_a_trip_and_its_reset_and_hides_nothing_from_the_record() -> None:
    engine = engine_of()
    outputs = feed(engine, bypass(0.0, 600.0), TripByHand("anvil", 1.0, "Robin", "smoke"), *hot_then_silent(start=2.0), Tick(700.0))
    assert not [event for event in events(outputs, "also") if event.check == "no readings" and event.at < 600.0]
    assert shown(engine)["latch"]["check"] == "by hand"


def test_after_a_restart_it_goes_on_until_its_end() -> None:
    engine = engine_of()
    told = engine.start([], Remaining(bypasses=(Left("anvil", "no readings", "Robin", "tuning", 120.0),)))
    (begun,) = events(told, "bypass")
    assert begun.sentence == "no readings is still bypassed, for 2.0 min more, by Robin: tuning"
    outputs = feed(engine, *hot_then_silent(), Tick(1000.0))
    assert [event.at for event in events(outputs, "bypass over")] == [120.0]
    assert [event.at for event in events(outputs, "trip")] == [120.0]


@pytest.mark.parametrize(
    ("until", "why"), [(float("-inf"), "nobody can say how long it has run"), (-5.0, "it ran out while no guard was running")]
)
def test_after_a_restart_one_that_is_over_has_ended_and_loudly(until: float, why: str) -> None:
    engine = engine_of()
    told = engine.start(
        [], Remaining(bypasses=(Left("anvil", "stuck", "Robin", "tuning", until), Left("gone", "stuck", "Robin", "x", 9.0)))
    )
    (over,) = events(told, "bypass over")
    assert over.level == "warning"
    assert why in over.sentence
    assert shown(engine)["bypasses"] == []
