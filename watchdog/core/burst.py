"""Messages that come far faster than their source can report: a queue that was held back, or a flood."""

from typing import ClassVar

from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

SHARE, WINDOW_S = 0.05, 0.2
"""Messages within this share of the longest interval, and within this time, count together: no healthy source is that fast."""

COUNT = 8
"""More of them than this are a burst."""


class Burst:
    """Counts the messages of one heater. `judge_at` is when what came in a burst is judged: its newest only."""

    STATE: ClassVar[tuple[str, ...]] = ("told_at", "judge_at", "_from", "_count")
    __slots__ = (*STATE, "window_s")

    def __init__(self, longest_interval_s: float) -> None:
        self.window_s = min(SHARE * longest_interval_s, WINDOW_S)
        self.told_at = NEVER
        self.forget()

    def forget(self) -> None:
        """Begin to count anew."""
        self._from, self._count = NEVER, 0
        self.judge_at = INFINITY

    def holds(self, at: float) -> bool:
        """Count a message; True while they are a burst."""
        if at - self._from > self.window_s:
            self._from, self._count = at, 1
            return False
        self._count += 1
        return self._count > COUNT

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
