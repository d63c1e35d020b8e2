"""What clients of the second socket may cost: one at a time works for them, and twice the time it took is left to the guard."""

import threading
from collections.abc import Callable, Hashable
from types import TracebackType
from typing import Final, Self

REST: Final = 2.0
LEAST_REST_S: Final = 0.0002
"""After each piece of work: so many times what it took, and some more, as many small ones cost more than they show."""

LONGEST_REST_S: Final = 0.02
"""What took long may have waited for others; that is not to be paid for twice."""


class Turnstile:
    """`with turnstile:` around each piece of work for a client. Whoever is late waits; a flood gets a third of a processor at most.

    Threads of one interpreter take turns, each for its switch interval: thirty that are busy would keep the one that brings a
    reading waiting for thirty of them. Behind this there is never more than one.
    """

    def __init__(self, now: Callable[[], float]) -> None:
        """`now` gives engine seconds."""
        self._now = now
        self._lock = threading.Lock()
        self._pause = threading.Event()
        self._free_at = self._began_at = now()

    def __enter__(self) -> Self:
        self._lock.acquire()
        rest_s = self._free_at - self._now()
        if rest_s > 0.0:
            self._pause.wait(rest_s)
        self._began_at = self._now()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        at = self._now()
        self._free_at = at + min(REST * (at - self._began_at) + LEAST_REST_S, LONGEST_REST_S)
        self._lock.release()


class Pace:
    """Acts of one token follow each other with some time between, in the order of their coming."""

    def __init__(self, now: Callable[[], float], every_s: float, longest_wait_s: float) -> None:
        """Times in seconds. Whoever would wait longer than `longest_wait_s` is refused."""
        self._now, self._every_s, self._longest_wait_s = now, every_s, longest_wait_s
        self._lock = threading.Lock()
        self._pause = threading.Event()
        self._free_at: dict[Hashable, float] = {}

    def wait(self, who: Hashable) -> bool:
        """Return True when it is the turn of `who`; False at once when too many are before."""
        with self._lock:
            at = self._now()
            self._free_at = {name: free_at for name, free_at in self._free_at.items() if free_at > at}
            turn_at = self._free_at.get(who, at)
            if turn_at - at > self._longest_wait_s:
                return False
            self._free_at[who] = turn_at + self._every_s
        if turn_at > at:
            self._pause.wait(turn_at - at)
        return True
