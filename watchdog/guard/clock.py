"""The only module that asks for the time."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import NamedTuple


def now() -> float:
    """Engine time: monotonic seconds. Stands still while the computer sleeps; see `slept_s`."""
    return time.monotonic()  # noqa: TID251 - here and nowhere else


def slept_s() -> float:
    """Seconds this computer has slept since it was switched on: what the boot clock counts and the monotonic one does not."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)


def wall_us() -> int:
    """Wall time in microseconds since 1970, for display and records only."""
    return time.time_ns() // 1000


def wall_text() -> str:
    """Wall time as ISO 8601 in UTC, for display and records only."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")  # noqa: TID251 - here and nowhere else


class Clock(NamedTuple):
    """What the parts of a guard are told of the time, one function each; see those above."""

    now: Callable[[], float]
    slept_s: Callable[[], float]
    wall_us: Callable[[], int]
    wall_text: Callable[[], str]


REAL = Clock(now, slept_s, wall_us, wall_text)
