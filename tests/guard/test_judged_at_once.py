"""A reading that finds the loop asleep is judged in the thread that brought it, and never out of turn."""

import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest
from rig import plans
from rig.broker import wait_for

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, RelayReport
from watchdog.core.outputs import Event, Output
from watchdog.core.plan import PrinterPlan
from watchdog.guard import clock
from watchdog.guard.inbox import Inbox
from watchdog.guard.loop import LONGEST_WAIT_S, SHORT_DELAY_S, SLEPT_S, Loop

GRACE_S = 0.2


class Bench:
    """Two printers under a loop in a thread of its own; notes which thread judged what."""

    def __init__(self) -> None:
        limits = {"no_readings": {"grace_s": GRACE_S, "advise_s": 0.1}, "ceiling": {"above_c": 120.0, "confirm_s": 0.0}}
        printers = [
            PrinterPlan(name, (plans.heater(printer=name, interval_s=0.5, limits=limits),), ("plug",)) for name in ("anvil", "bramble")
        ]
        self.engine = Engine(plans.site(*printers), clock.now())
        self.inbox = Inbox()
        self.inbox.watch([("anvil", "bed"), ("bramble", "bed")])
        self.slept_s = 0.0
        self.events: list[Event] = []
        self.judged_by: list[str] = []
        self.loop = Loop(self.engine, self.inbox, self, lambda _: None, now=clock.now, slept_s=lambda: self.slept_s)  # type: ignore[arg-type]  # in place of the hands
        self._feed: Callable[[Any], list[Output]] = self.engine.feed
        self.engine.feed = self.feed  # type: ignore[method-assign]  # looks on
        self.thread = threading.Thread(target=self.loop.run, name="loop")

    def feed(self, item: Any) -> list[Output]:
        if isinstance(item, Reading):
            self.judged_by.append(threading.current_thread().name)
        return self._feed(item)

    def carry_out(self, outputs: Iterable[Output]) -> None:
        self.events += [output for output in outputs if isinstance(output, Event)]

    def hear(self, printer: str = "anvil", temperature_c: float = 60.0, at: float | None = None) -> None:
        self.inbox.reading(Reading(printer, "bed", clock.now() if at is None else at, temperature_c=temperature_c, target_c=60.0))

    def asleep(self) -> bool:
        return self.inbox._asleep


@pytest.fixture
def bench() -> Iterator[Bench]:
    bench = Bench()
    bench.thread.start()
    assert wait_for(bench.asleep)
    yield bench
    bench.loop.stop()
    bench.thread.join(5)


ME = threading.main_thread().name


def test_the_thread_that_brings_a_reading_to_a_sleeping_loop_judges_it(bench: Bench) -> None:
    bench.hear(temperature_c=130.0)
    assert bench.judged_by == [ME]
    assert [event.kind for event in bench.events if event.kind == "trip"] == ["trip"]
    assert bench.loop.judged == 1


def test_a_reading_never_overtakes_what_waits(bench: Bench) -> None:
    with bench.loop._turning:  # the loop has been woken and cannot begin
        bench.inbox.report(RelayReport("plug", clock.now(), state="off"))
        bench.hear()
        bench.hear("bramble")
        assert bench.judged_by == []
    assert wait_for(lambda: bench.judged_by == ["loop", "loop"])


def test_two_threads_never_judge_at_the_same_time(bench: Bench) -> None:
    inside, most, lock, pause = [0], [0], threading.Lock(), threading.Event()
    feed = bench._feed

    def counted(item: Any) -> list[Output]:
        with lock:
            inside[0] += 1
            most[0] = max(most[0], inside[0])
        out = feed(item)
        pause.wait(0.0002)  # lets the others run
        with lock:
            inside[0] -= 1
        return out

    bench._feed = counted

    def talk(name: str) -> None:
        for _ in range(300):
            bench.hear(name)

    threads = [threading.Thread(target=talk, args=(name,)) for name in ("anvil", "bramble")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wait_for(lambda: bench.loop.judged + bench.inbox.dropped == 600)
    assert most[0] == 1


@pytest.mark.parametrize("gap", ["late", "slept"])
def test_after_a_gap_the_loop_itself_takes_the_reading_and_minds_the_gap_first(bench: Bench, gap: str) -> None:
    with bench.loop._turning:
        if gap == "slept":
            bench.slept_s = SLEPT_S + 1.0
        else:
            bench.loop._last_at -= LONGEST_WAIT_S + SHORT_DELAY_S + 0.1
    assert bench.loop.judge(Reading("anvil", "bed", clock.now(), temperature_c=60.0)) is False
    bench.hear()
    assert wait_for(lambda: bench.judged_by == ["loop"])
    if gap == "slept":
        assert "suspended" in {event.kind for event in bench.events}


def test_a_deadline_that_came_nearer_wakes_the_loop_in_time(bench: Bench) -> None:
    assert wait_for(lambda: bench.engine.deadline() > clock.now() + 10.0)  # all is told of the start
    turns = bench.loop.turns
    assert wait_for(lambda: bench.loop.turns > turns and bench.asleep())  # by itself it now sleeps for another half second
    heard_at = clock.now()
    bench.hear()
    assert bench.judged_by == [ME]
    assert wait_for(lambda: any(event.kind == "trip" for event in bench.events), LONGEST_WAIT_S - 0.1)
    trip = next(event for event in bench.events if event.kind == "trip")
    assert trip.at == pytest.approx(heard_at + GRACE_S, abs=0.01)


def test_a_reading_does_not_overtake_a_report_that_has_just_come(bench: Bench) -> None:
    bench.inbox._reports.append(RelayReport("plug", clock.now(), state="off"))  # and the loop is about to be woken
    assert bench.loop.judge(Reading("anvil", "bed", clock.now(), temperature_c=60.0)) is False
    bench.inbox.ring()
    assert wait_for(lambda: not bench.inbox.waiting())


def test_a_reading_that_cannot_be_judged_ends_no_network_thread(bench: Bench) -> None:
    def broken(_item: Any) -> list[Output]:
        raise RuntimeError("a fault of our own")

    bench._feed, whole = broken, bench._feed
    bench.hear()
    bench._feed = whole
    bench.hear(temperature_c=130.0)
    assert any(event.kind == "trip" for event in bench.events)


def test_a_stopped_loop_leaves_nobody_judging(bench: Bench) -> None:
    bench.loop.stop()
    bench.thread.join(5)
    assert not bench.thread.is_alive()
    bench.hear()
    assert bench.judged_by == []
