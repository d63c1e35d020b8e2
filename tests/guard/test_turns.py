"""A loop that comes late: what waited is heard before any silence is judged."""

from collections.abc import Iterable
from typing import Any

import pytest
from rig import plans

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, RelayReport
from watchdog.core.outputs import Event, Output
from watchdog.core.plan import PrinterPlan
from watchdog.guard.inbox import LANE_LIMIT, Inbox
from watchdog.guard.loop import STALL_S, Loop
from watchdog.guard.recent import KEPT, Recent

GRACE_S = 3.0
LIMITS = {"no_readings": {"grace_s": GRACE_S, "advise_s": 2.0}}


class Bench:
    """Two printers under one loop, whose clock is set by hand."""

    def __init__(self) -> None:
        printers = [
            PrinterPlan(name, (plans.heater(printer=name, interval_s=0.5, limits=LIMITS),), ("plug",)) for name in ("anvil", "bramble")
        ]
        self.at = 100.0
        self.engine = Engine(plans.site(*printers), self.at)
        self.events: list[Event] = []
        self.inbox = Inbox()
        self.inbox.watch([("anvil", "bed"), ("bramble", "bed")])
        self.loop = Loop(self.engine, self.inbox, self, lambda _: None, now=lambda: self.at, slept_s=lambda: 0.0)  # type: ignore[arg-type]

    def carry_out(self, outputs: Iterable[Output]) -> None:
        """In place of the hands."""
        self.events += [output for output in outputs if isinstance(output, Event)]

    def hear(self, printer: str, at: float) -> None:
        self.inbox.reading(Reading(printer, "bed", at, temperature_c=60.0, target_c=60.0))

    def kinds(self) -> set[str]:
        return {event.kind for event in self.events}


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    for name in ("anvil", "bramble"):
        bench.hear(name, bench.at)
    bench.loop.turn()
    return bench


@pytest.mark.parametrize("report", [False, True])
def test_row_f20_a_late_turn_takes_no_printer_for_silent_because_another_was_heard_first(bench: Bench, *, report: bool) -> None:
    for step in range(1, 9):
        for name in ("anvil", "bramble"):
            bench.hear(name, 100.0 + 0.5 * step)
    bench.at = 104.2
    if report:
        bench.inbox.report(RelayReport("plug", 104.1, power_w=0.0))
    bench.loop.turn()
    bench.loop.turn()
    assert "trip" not in bench.kinds()
    assert "suspended" not in bench.kinds()


def test_row_f20_what_comes_during_a_long_turn_waits_for_the_next_one(bench: Bench) -> None:
    feed = bench.engine.feed

    def slow(item: Any) -> list[Output]:
        if isinstance(item, Reading) and item.temperature_c == 66.0:
            for step in range(1, 17):
                bench.at = 100.5 + 0.5 * step
                for name in ("bramble", "anvil"):
                    bench.hear(name, bench.at)
        return feed(item)

    bench.engine.feed = slow  # type: ignore[method-assign]  # a judgement that takes eight seconds
    bench.at = 100.5
    bench.inbox.reading(Reading("anvil", "bed", 100.5, temperature_c=66.0, target_c=60.0))
    bench.loop.turn()
    assert bench.at - 100.5 > STALL_S
    assert "trip" not in bench.kinds()
    bench.loop.turn()
    assert "suspended" in bench.kinds()
    assert "trip" not in bench.kinds()
    assert bench.loop.worst_lag_s > STALL_S


def test_row_f49_readings_that_are_judged_late_are_told_once_a_minute(bench: Bench) -> None:
    """Each turn comes in time, and yet it hears what waited for long, as of a computer that is too busy."""
    told = {}
    for turn in range(300):
        bench.at = 100.0 + 0.5 * turn
        bench.hear("anvil", bench.at - (0.0 if turn < 4 else STALL_S + 0.5))
        bench.hear("bramble", bench.at)
        bench.loop.turn()
        told[turn] = [event for event in bench.events if event.kind == "late"]
    assert told[3] == []
    assert [event.at for event in told[299]] == [102.0, 162.5, 223.0]
    assert told[299][0].numbers == {"lag_s": STALL_S + 0.5}
    assert told[299][0].level == "warning"
    assert "suspended" not in bench.kinds()


def test_real_silence_still_trips_after_a_late_turn(bench: Bench) -> None:
    for step in range(1, 9):
        bench.hear("anvil", 100.0 + 0.5 * step)
    bench.at = 104.2
    bench.loop.turn()
    assert [event.printer for event in bench.events if event.kind == "trip"] == ["bramble"]


def test_what_the_meter_of_a_relay_says_is_a_report_and_a_reading() -> None:
    inbox = Inbox()
    inbox.watch_meters({"plug": ("anvil", ""), "feed": ("anvil", "bed")})
    said = [RelayReport(name, 1.0, power_w=310.0) for name in ("plug", "feed", "other")]
    said += [RelayReport("plug", 2.0, state="on"), RelayReport("feed", 3.0, power_w=5.0, retained=True)]
    for report in said:
        inbox.report(report)
    assert list(inbox.reports()) == said
    assert list(inbox.readings(100, 9.0)) == [
        Reading("anvil", "", 1.0, power_w=310.0),
        Reading("anvil", "bed", 1.0, power_w=310.0, sensor="feed"),
        Reading("anvil", "bed", 3.0, power_w=5.0, sensor="feed", retained=True),
    ]


def test_readings_are_handed_out_up_to_a_moment_and_none_is_lost() -> None:
    inbox = Inbox()
    inbox.watch([("anvil", "bed"), ("bramble", "bed")])
    for at in (1.0, 2.0, 3.0):
        for name in ("anvil", "bramble"):
            inbox.reading(Reading(name, "bed", at, temperature_c=60.0))
    assert [reading.at for reading in inbox.readings(100, 2.0)] == [1.0, 2.0, 1.0, 2.0]
    assert list(inbox.readings(100, 2.5)) == []
    assert [reading.at for reading in inbox.readings(100, 3.0)] == [3.0, 3.0]
    assert list(inbox.readings(100, 9.0)) == []


def test_a_lane_that_was_left_half_way_is_taken_up_again() -> None:
    inbox = Inbox()
    inbox.watch([("anvil", "bed")])
    for number in range(LANE_LIMIT + 5):
        inbox.reading(Reading("anvil", "bed", float(number), temperature_c=60.0))
    assert inbox.dropped == 5
    half = inbox.readings(100, 1000.0)
    assert next(half).at == 5.0
    del half
    assert len(list(inbox.readings(100, 1000.0))) == LANE_LIMIT - 1


def test_what_repeats_is_one_warning_with_a_count_and_the_newest_comes_first() -> None:
    recent = Recent()
    recent.note(Event(1.0, "burst", "warning", "a burst", printer="anvil"))
    recent.note(Event(2.0, "unusable", "warning", "no reading\x1b[2J", printer="anvil"))
    recent.note(Event(3.0, "burst", "warning", "a burst again", printer="anvil"))
    recent.note(Event(4.0, "reset", "info", "for the record only", printer="anvil"))
    told = recent.told(5.0)
    assert [(entry["kind"], entry["count"], entry["age_s"]) for entry in told] == [("burst", 2, 2.0), ("unusable", 1, 3.0)]
    assert told[1]["sentence"] == "no reading\\x1b[2J"


def test_many_warnings_push_out_warnings_and_no_alarm() -> None:
    recent = Recent()
    recent.note(Event(0.0, "trip", "alarm", "too hot", printer="anvil"))
    for number in range(3 * KEPT):
        recent.note(Event(float(number), "unusable", "warning", "no reading", printer=f"printer-{number}"))
    told = recent.told(100.0)
    assert len(told) == KEPT
    assert told[-1]["kind"] == "trip"
