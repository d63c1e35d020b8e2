"""Deadlines in the order in which they fall due. Entries are lazy: a deadline that moved later is found out when it is looked at."""

from collections.abc import Iterator
from heapq import heappop, heappush
from typing import Protocol

from watchdog.core.values import INFINITY


class Timed(Protocol):
    """Something with a nearest deadline. `order` settles ties, the same way every time."""

    order: int
    scheduled_at: float

    def deadline(self) -> float: ...


class Timeline:
    """The deadlines of a site."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, int, Timed]] = []

    def schedule(self, timed: Timed) -> None:
        """Make sure that `timed` is looked at by its deadline."""
        deadline = timed.deadline()
        if deadline < timed.scheduled_at:
            timed.scheduled_at = deadline
            heappush(self._heap, (deadline, timed.order, timed))

    def nearest(self) -> float:
        """No deadline falls due before this."""
        return self._heap[0][0] if self._heap else INFINITY

    def due(self, at: float) -> Iterator[tuple[float, Timed]]:
        """Each deadline that falls due up to and including `at`, with its exact time. It must be moved before the next is asked for."""
        heap = self._heap
        while heap and heap[0][0] <= at:
            moment, _, timed = heappop(heap)
            if moment != timed.scheduled_at:
                continue
            timed.scheduled_at = INFINITY
            if timed.deadline() <= moment:
                yield moment, timed
            self.schedule(timed)
