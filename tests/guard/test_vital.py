"""The look at the loop: a word for it only when it turned, and the end only when it really stood still."""

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.guard.vital import LOOK_S, WELL_AFTER_S, Vital


class Manager:
    """Remembers what it is told, and when."""

    def __init__(self, watchdog_s: float) -> None:
        self.watchdog_s = watchdog_s
        self.at = 0.0
        self.said: list[tuple[float, str]] = []

    def ready(self) -> None:
        self.said.append((self.at, "ready"))

    def status(self, text: str) -> None:
        self.said.append((self.at, text))

    def alive(self) -> None:
        self.said.append((self.at, "alive"))

    def stopping(self) -> None:
        self.said.append((self.at, "stopping"))

    def pings(self) -> list[float]:
        return [at for at, what in self.said if what == "alive"]


class Bench:
    """A loop that turns when it is let, looked at in made-up time."""

    def __init__(self, *, watchdog_s: float = 12.0, end_when_stuck_s: float = 0.0) -> None:
        self.at, self.turns, self.well = 0.0, 0, 0
        self.text = "watching anvil"
        self.ended: list[float] = []
        self.manager = Manager(watchdog_s)
        self.vital = Vital(
            lambda: self.turns,
            lambda: self.at,
            status=lambda: self.text,
            on_well=self._on_well,
            end_when_stuck_s=end_when_stuck_s,
            end=self.ended.append,
        )
        self.vital.meet(self.manager)

    def _on_well(self) -> None:
        self.well += 1

    def pass_s(self, seconds: float, turning: Callable[[], bool] = lambda: True, look_s: float = LOOK_S) -> None:
        until = self.at + seconds
        while self.at < until:
            self.at = self.manager.at = self.at + look_s
            self.turns += turning()
            self.vital.look(self.at)


def test_ready_is_told_once_and_only_after_the_loop_has_turned() -> None:
    bench = Bench()
    bench.pass_s(3.0, lambda: False)
    assert bench.manager.said == []
    bench.pass_s(3.0)
    assert [what for _, what in bench.manager.said] == ["ready", "watching anvil"]


def test_a_healthy_loop_gets_a_ping_each_half_interval_and_no_more() -> None:
    bench = Bench(watchdog_s=12.0)
    bench.pass_s(121.0)
    pings = bench.manager.pings()
    gaps = [later - earlier for earlier, later in pairwise(pings)]
    assert len(pings) == 20
    assert min(gaps) >= 6.0
    assert max(gaps) <= 6.0 + LOOK_S


def test_without_an_interval_nobody_waits_for_pings() -> None:
    bench = Bench(watchdog_s=0.0)
    bench.pass_s(30.0)
    assert bench.manager.pings() == []


def test_a_dead_loop_gets_no_ping_from_the_limit_on_and_the_next_one_once_it_turns_again() -> None:
    bench = Bench(watchdog_s=12.0)
    bench.pass_s(30.0)
    before = len(bench.manager.pings())
    stuck_at = bench.at
    bench.pass_s(100.0, lambda: False)
    assert [at for at in bench.manager.pings()[before:] if at > stuck_at + 3.0 + LOOK_S] == []
    assert bench.manager.said[-1][1].startswith("STUCK")
    bench.pass_s(1.0)
    assert len(bench.manager.pings()) >= before + 1
    assert bench.manager.said[-1][1] == "alive"
    assert ("watching anvil") in [what for _, what in bench.manager.said[-3:]]


@given(st.lists(st.booleans(), min_size=200, max_size=400), st.sampled_from([2.0, 12.0, 30.0]))
def test_there_is_never_a_ping_without_a_turn_since_the_last_one(turning: list[bool], watchdog_s: float) -> None:
    bench = Bench(watchdog_s=watchdog_s)
    turns_at_ping = [0]
    for turns in turning:
        before = len(bench.manager.pings())
        bench.pass_s(LOOK_S, lambda turns=turns: turns)  # type: ignore[misc]  # bound at once
        if len(bench.manager.pings()) > before:
            assert bench.turns > turns_at_ping[-1]
            turns_at_ping.append(bench.turns)


def test_what_is_said_changes_with_what_is_so_and_is_not_repeated() -> None:
    bench = Bench()
    bench.pass_s(5.0)
    bench.text = "TRIPPED: anvil"
    bench.pass_s(5.0)
    assert [what for _, what in bench.manager.said if what not in {"ready", "alive"}] == ["watching anvil", "TRIPPED: anvil"]


def test_a_stuck_guard_ends_itself_after_the_time_given() -> None:
    bench = Bench(end_when_stuck_s=20.0)
    bench.pass_s(10.0)
    bench.pass_s(19.5, lambda: False)
    assert bench.ended == []
    bench.pass_s(1.0, lambda: False)
    assert bench.ended[0] == pytest.approx(20.0, abs=LOOK_S)


def test_without_being_asked_it_never_ends_itself() -> None:
    bench = Bench(end_when_stuck_s=0.0)
    bench.pass_s(10_000.0, lambda: False)
    assert bench.ended == []


def test_a_process_that_was_stopped_for_an_hour_has_not_been_stuck() -> None:
    """Row F42: what passed while nobody could look says nothing about the loop."""
    bench = Bench(end_when_stuck_s=20.0)
    bench.pass_s(10.0)
    bench.pass_s(3600.0, lambda: False, look_s=3600.0)
    bench.pass_s(10.0)
    assert bench.ended == []


def test_a_guard_that_turned_for_a_while_is_well_once() -> None:
    bench = Bench()
    bench.pass_s(WELL_AFTER_S - 1.0)
    assert bench.well == 0
    bench.pass_s(2 * WELL_AFTER_S)
    assert bench.well == 1


def test_a_guard_that_never_turned_is_not_well() -> None:
    bench = Bench()
    bench.pass_s(2 * WELL_AFTER_S, lambda: False)
    assert bench.well == 0


def test_the_thread_outlives_a_look_that_fails(caplog: pytest.LogCaptureFixture) -> None:
    def failing() -> int:
        raise RuntimeError("a fault of the program")

    vital = Vital(failing, lambda: 0.0, status=str)
    vital.start()
    vital._ended.wait(2.5 * LOOK_S)
    assert vital._thread.is_alive()
    assert "the look at the loop failed" in caplog.text
    vital.stop()
    assert not vital._thread.is_alive()
