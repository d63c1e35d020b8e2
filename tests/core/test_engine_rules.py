"""What the engine does with checks and observers that fail, with doubled and late messages, bursts, and sleep."""

import pytest
from rig.feeding import events, feed, steady
from rig.plans import heater, site

from watchdog.checks.ceiling import Ceiling
from watchdog.core.check import Check, Finding
from watchdog.core.engine import Engine
from watchdog.core.inputs import Suspended, Tick, TripByHand
from watchdog.core.observer import Observer
from watchdog.core.outputs import Event, LatchChange, Mark, RelayOrder
from watchdog.core.plan import HeaterPlan, PrinterPlan
from watchdog.core.rate import Rate
from watchdog.core.status import site_status
from watchdog.core.view import HeaterView


def engine_with(plan: HeaterPlan | None = None, *, observe: bool = False) -> Engine:
    return Engine(site(PrinterPlan("anvil", (plan or heater(),), ("plug",), observe_s=7200.0 if observe else 0.0)), 0.0)


class Raises(Check):
    """Raises while the reading is above 100."""

    name = "raises"

    def on_reading(self, view: HeaterView) -> Finding | None:
        if view.temperature_c is not None and view.temperature_c > 100.0:
            raise ZeroDivisionError("in the check")
        return None

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - it needs no look
        raise AssertionError


class Clings(Check):
    """Never moves its deadline."""

    name = "clings"

    def __init__(self) -> None:
        super().__init__()
        self.deadline = 5.0

    def on_reading(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - it needs no look
        return None

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - it needs no look
        return None


class Advises(Check):
    """Says the same at every reading."""

    name = "advises"

    def on_reading(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - it needs no look
        return Finding("advise", "it is warm", {})

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - it needs no look
        return None


def test_a_trip_is_marked_then_commanded_then_latched_then_told() -> None:
    engine = engine_with()
    outputs = feed(engine, *steady(130.0, 0.0, 4))
    assert [type(output) for output in outputs] == [Mark, RelayOrder, LatchChange, Event, Event]
    latch = outputs[2]
    assert isinstance(latch, LatchChange)
    assert latch.latch is not None
    assert (latch.latch.heater, latch.latch.check, latch.latch.relays, latch.latch.temperature_c) == ("bed", "ceiling", ("plug",), 130.0)
    assert events(outputs, "trip")[0].numbers == {"temperature_c": 130.0, "above_c": 120.0, "lasted_s": 3.0, "confirm_s": 3.0}


def test_a_check_that_raises_is_told_once_and_the_others_go_on() -> None:
    engine = engine_with(heater(more=(Raises,)))
    outputs = feed(engine, *steady(60.0, 0.0, 3), *steady(130.0, 3.0, 4))
    assert [event.check for event in events(outputs, "check failed")] == ["raises"]
    assert [event.check for event in events(outputs, "trip")] == ["ceiling"]
    status = site_status(engine.site, 0.0)
    assert status["failed_checks"] == [
        {"printer": "anvil", "heater": "bed", "check": "raises", "error": "ZeroDivisionError('in the check')"}
    ]
    assert any("check raises of bed failed" in why for why in status["printers"][0]["why_not"])


def test_a_check_that_works_again_is_told_and_forgotten() -> None:
    engine = engine_with(heater(more=(Raises,)))
    outputs = feed(engine, *steady(101.0, 0.0, 3), *steady(60.0, 3.0, 3))
    assert len(events(outputs, "check failed")) == 1
    assert len(events(outputs, "check recovered")) == 1
    assert site_status(engine.site, 0.0)["failed_checks"] == []


def test_a_failed_check_does_not_outlive_the_sleep_that_renewed_it() -> None:
    engine = engine_with(heater(more=(Raises,)))
    feed(engine, *steady(101.0, 0.0, 3), Suspended(10.0, 5.0))
    assert site_status(engine.site, 0.0)["failed_checks"] == []


def test_a_check_that_never_moves_its_deadline_neither_hangs_the_engine_nor_hides() -> None:
    engine = engine_with(heater(more=(Clings,)))
    outputs = feed(engine, *steady(60.0, 0.0, 3), Tick(200.0))
    assert [event.check for event in events(outputs, "check failed")] == ["clings"]
    assert len(events(outputs, "trip")) == 1  # by no readings: the others go on
    assert engine.deadline() > 200.0


def test_advice_that_goes_on_and_on_is_told_once_a_minute() -> None:
    outputs = feed(engine_with(heater(more=(Advises,))), *steady(60.0, 0.0, 181))
    assert [event.at for event in events(outputs, "advice")] == [0.0, 60.0, 120.0, 180.0]


def broken(*_: object) -> float:
    raise RuntimeError("the observer is broken")


@pytest.mark.parametrize("method", ["add", "slope_k_per_s"])
def test_an_observer_that_fails_leaves_the_checks_on_raw_readings_armed(monkeypatch: pytest.MonkeyPatch, method: str) -> None:
    monkeypatch.setattr(Observer, method, broken)
    ceiling = feed(engine_with(), *steady(130.0, 0.0, 5))
    open_sensor = feed(engine_with(), *steady(60.0, 0.0, 5), *steady(-42.4, 5.0, 6))
    engine = engine_with()
    silent = feed(engine, *steady(80.0, 0.0, 20, target_c=0.0), Tick(100.0))
    assert [event.check for event in events(ceiling, "trip")] == ["ceiling"]
    assert [event.check for event in events(open_sensor, "trip")] == ["out of range"]
    assert [event.check for event in events(silent, "trip")] == ["no readings"]
    assert any("observer of bed failed" in why for why in site_status(engine.site, 0.0)["printers"][0]["why_not"])
    assert not events(silent, "check failed")


def test_a_check_that_cannot_say_whether_it_has_anything_to_judge_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Ceiling, "heeds", broken)
    assert [event.check for event in events(feed(engine_with(), *steady(130.0, 0.0, 5)), "trip")] == ["ceiling"]


def test_an_observer_that_fails_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Rate, "heard", broken)
    engine = engine_with()
    assert len(events(feed(engine, *steady(60.0, 0.0, 20)), "observer failed")) == 1
    assert engine.site.heaters["anvil", "bed"].slope_k_per_s() is None
    assert engine.site.heaters["anvil", "bed"].period_s is None


def test_an_observing_printer_is_cut_by_nothing_but_ceiling_and_out_of_range() -> None:
    outputs = feed(engine_with(observe=True), *steady(60.0, 0.0, 20, target_c=60.0), Tick(300.0))
    assert not events(outputs, "trip")
    assert [event.check for event in events(outputs, "would have cut")] == ["no readings"]


def test_the_first_finding_names_the_trip_and_later_ones_are_told_once() -> None:
    outputs = feed(engine_with(), *steady(60.0, 0.0, 5), *steady(-42.4, 5.0, 8), *steady(300.0, 13.0, 60))
    assert [event.check for event in events(outputs, "trip")] == ["out of range"]
    assert sorted(event.check for event in events(outputs, "also")) == ["ceiling"]
    assert len([output for output in outputs if isinstance(output, Mark)]) == 1


def test_a_trip_by_hand_says_who_and_why_and_of_nobody_does_nothing() -> None:
    engine = engine_with()
    outputs = feed(engine, TripByHand("anvil", 1.0, "Robin", "smoke"), TripByHand("anvil", 2.0, "Kim", "smoke too"))
    trip, also = events(outputs, "trip")[0], events(outputs, "also")[0]
    assert (trip.person, trip.check, trip.sentence) == ("Robin", "by hand", "tripped by hand by Robin: smoke")
    assert also.person == "Kim"
    assert feed(engine_with(), TripByHand("nobody", 1.0, "Robin", "smoke")) == []


def test_headroom_is_taken_once() -> None:
    engine = engine_with()
    feed(engine, *steady(114.0, 0.0, 10))
    first, second = engine.take_headroom(), engine.take_headroom()
    assert first["anvil"]["bed"]["ceiling"] == pytest.approx(0.95 * 114.0 / 120.0, abs=1e-4)
    assert second["anvil"]["bed"]["ceiling"] == 0.0
