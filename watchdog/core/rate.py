"""How often a heater reports, and whether somebody else has begun to publish in its place."""

from typing import ClassVar

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain

WINDOW_S = 15.0
WINDOW_INTERVALS = 10.0
GAP_INTERVALS = 3.0

FASTER = 1.7
"""Readings that come this many times as often as usual have two publishers, or one that was changed."""

ENOUGH = 8
"""A window with fewer readings says nothing about the rate."""


class Rate:
    """Counts readings in windows of equal length. A window with a gap in it is not judged."""

    STATE: ClassVar[tuple[str, ...]] = ("_ends_at", "_last_at", "_count", "_usual", "_told")

    def __init__(self) -> None:
        self._ends_at = self._last_at = NEVER
        self._count = 0
        self._usual: float | None = None
        self._told = False

    def heard(self, at: float, longest_interval_s: float) -> float | None:
        """Note a reading at `at`; tells once how many times as often as usual they come, when it is too often."""
        gap = at - self._last_at > GAP_INTERVALS * longest_interval_s
        self._last_at = at
        if not gap and at < self._ends_at:
            self._count += 1
            return None
        times = None if gap else self._close()
        self._count = 1
        self._ends_at = at + max(WINDOW_S, WINDOW_INTERVALS * longest_interval_s)
        return times

    def _close(self) -> float | None:
        if self._usual is None:
            self._usual = float(self._count)
            return None
        if self._count >= ENOUGH and self._count > FASTER * self._usual:
            told, self._told = self._told, True
            return None if told else self._count / self._usual
        self._told = False
        self._usual += 0.1 * (self._count - self._usual)
        return None

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
