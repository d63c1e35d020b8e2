"""kill -9 at every step of a trip and of a release, and at moments left to chance. Rows F43 and F54.

What is promised: from the mark on, a killed guard comes back latched and commands OFF again; before it, nothing was commanded.
A release is for good once its mark is gone; killed before that, the guard comes back latched, whatever it had answered.
"""

import math
import signal
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from random import Random
from time import sleep  # noqa: TID251 - the moments to kill at are microseconds apart

import pytest
from rig.broker import wait_for
from rig.kill_bench import Bench, killing_at

from watchdog.cli.client import NoGuardError

pytestmark = pytest.mark.rig

MakeBench = Callable[[], Bench]

AT_ONCE = 5
"""Benches that run side by side."""

LONGEST_S = 0.03
"""By then a trip is long over, its latch stored and its record written."""


def comes_back_latched(bench: Bench) -> None:
    """Latched from its first word on, OFF commanded anew and obeyed, with nothing published in between."""
    before = bench.orders
    bench.restart()
    bench.guard.wait_armed()
    assert bench.latch() is not None, bench.guard.log()
    assert wait_for(bench.confirmed), bench.guard.log()
    assert wait_for(lambda: bench.orders > before)
    assert not bench.powered
    assert bench.guard.status()["state"] == "tripped"


def comes_back_free(bench: Bench) -> None:
    """Nothing of a trip is left: no latch, no command."""
    before = bench.orders
    bench.restart()
    bench.guard.wait_armed()
    assert bench.latch() is None, bench.guard.log()
    bench.cool()
    assert bench.orders == before


def trip_and_confirm(bench: Bench) -> None:
    bench.overheat()
    assert wait_for(bench.confirmed), bench.guard.log()
    assert not bench.powered
    bench.cool()


@pytest.mark.parametrize("point", ["marked", "ordered", "latch queued", "told", "latch written", "latch stored"])
def test_a_guard_killed_after_the_mark_comes_back_latched_and_commands_off_again(make_bench: MakeBench, point: str) -> None:
    bench = make_bench()
    bench.begin(killing_at(point))
    assert bench.powered
    bench.overheat()
    assert bench.guard.ended_within(10) == -signal.SIGKILL
    comes_back_latched(bench)
    latch = bench.latch()
    assert latch is not None
    if point == "latch stored":
        assert latch["check"] == "ceiling"
        assert "180.0 degC" in latch["reason"]
    elif point == "marked":
        assert latch["trip"] == "unknown"


def test_a_guard_killed_just_before_the_mark_has_commanded_nothing(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.begin(killing_at("decided"))
    bench.overheat()
    assert bench.guard.ended_within(10) == -signal.SIGKILL
    comes_back_free(bench)
    assert bench.powered


def test_a_latched_guard_that_is_killed_again_and_again_stays_latched(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.begin()
    bench.overheat()
    assert wait_for(bench.confirmed)
    reason = (bench.latch() or {})["reason"]
    for _ in range(2):
        bench.guard.kill()
        comes_back_latched(bench)
        assert (bench.latch() or {})["reason"] == reason


@pytest.mark.parametrize("point", ["latch queued", "latch written"])
def test_a_guard_killed_before_a_release_is_stored_comes_back_latched(make_bench: MakeBench, point: str) -> None:
    bench = make_bench()
    bench.begin(killing_at(point, nth=2))
    trip_and_confirm(bench)
    with suppress(NoGuardError):  # whether it still answers is a matter of microseconds
        bench.guard.reset(bench.name)
    assert bench.guard.ended_within(10) == -signal.SIGKILL
    comes_back_latched(bench)


def test_a_release_that_was_stored_stays(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.begin(killing_at("release stored"))
    trip_and_confirm(bench)
    assert bench.guard.reset(bench.name)["ok"]
    assert bench.guard.ended_within(10) == -signal.SIGKILL
    comes_back_free(bench)


def test_a_guard_killed_right_after_it_answered_a_reset_is_released_or_latched_and_never_half(make_bench: MakeBench, dice: Random) -> None:
    bench = make_bench()
    bench.begin()
    trip_and_confirm(bench)
    assert bench.guard.reset(bench.name)["ok"]
    sleep(dice.uniform(0.0, 0.005))
    bench.guard.kill()
    whole(bench, was_commanded=True)


def test_a_guard_killed_at_any_moment_of_a_trip_is_latched_or_has_commanded_nothing(
    make_bench: MakeBench, dice: Random, long_count: Callable[[int, int], int]
) -> None:
    count = long_count(10, 100)
    delays = [LONGEST_S * math.exp(-dice.uniform(0.0, 7.0)) for _ in range(count)]  # most of them while it happens
    sys.stdout.write(f"killed after (ms): {', '.join(f'{1000 * delay:.2f}' for delay in delays)}\n")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        latched = [future.result() for future in [pool.submit(killed_after, make_bench(), delay) for delay in delays]]
    sys.stdout.write(f"came back latched: {sum(latched)} of {count}\n")


def killed_after(bench: Bench, delay_s: float) -> bool:
    bench.begin()
    bench.overheat()
    sleep(delay_s)
    bench.guard.kill()
    latched = whole(bench, was_commanded=False)
    bench.end()
    return latched


def whole(bench: Bench, *, was_commanded: bool) -> bool:
    """After a restart: latched with power cut (then True), or free with nothing commanded. Nothing is published meanwhile."""
    before = bench.orders
    bench.restart()
    bench.guard.wait_armed()
    if bench.latch() is None:
        assert bench.guard.status()["state"] != "tripped"
        assert bench.powered is not was_commanded
        assert bench.orders == before
        assert was_commanded or before == 0, "OFF was commanded, and the guard has forgotten why"
        return False
    assert wait_for(bench.confirmed), bench.guard.log()
    assert not bench.powered
    return True
