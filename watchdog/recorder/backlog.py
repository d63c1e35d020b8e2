"""The records that wait to be stored: bounded, the important ones first."""

import threading
from collections import deque
from collections.abc import Iterable
from typing import TypeAlias

from watchdog.recorder.records import Record, is_urgent

Numbered: TypeAlias = tuple[int, Record]
"""A record with its number in the order of arrival."""


class Backlog:
    """Two bounded queues, for any number of writers and one taker.

    When the ordinary queue is full its oldest record goes: the newest say more about what is wrong now. When the urgent
    one is full the newest goes: the first trip is the one that matters.
    """

    def __init__(self, limit: int, urgent_limit: int) -> None:
        self._changed = threading.Condition()
        self._limit = limit
        self._urgent_limit = urgent_limit
        self._ordinary: deque[Numbered] = deque()
        self._urgent: deque[Numbered] = deque()
        self._in_hand: list[Numbered] = []
        self._arrived = 0
        self._lost = 0
        self._closed = False

    def put(self, record: Record) -> None:
        """Never waits for the database and never raises. After `close` the record counts as lost."""
        with self._changed:
            self._arrived += 1
            if self._closed:
                self._lost += 1
                return
            queue = self._urgent if is_urgent(record) else self._ordinary
            queue.append((self._arrived, record))
            self._trim()
            self._changed.notify_all()

    def take(self, most: int, timeout_s: float) -> list[Numbered]:
        """Up to `most` records in the order of arrival, urgent ones first of all.

        Waits up to `timeout_s` for the first one. They count as waiting until `settle` or `give_back`.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._closed or self._urgent or self._ordinary, timeout_s)
            while len(self._in_hand) < most and (self._urgent or self._ordinary):
                self._in_hand.append((self._urgent or self._ordinary).popleft())
            self._in_hand.sort(key=lambda numbered: numbered[0])
            return list(self._in_hand)

    def settle(self, lost: int = 0) -> None:
        """Those in hand are stored, but for `lost` of them."""
        with self._changed:
            self._lost += lost
            self._in_hand = []
            self._changed.notify_all()

    def give_back(self) -> None:
        """Those in hand could not be stored: they go back to the front, behind urgent ones that came meanwhile."""
        with self._changed:
            urgent, ordinary = _parted(self._in_hand)
            self._urgent.extendleft(reversed(urgent))
            self._ordinary.extendleft(reversed(ordinary))
            self._in_hand = []
            self._trim()

    def close(self) -> None:
        """Take no more; whoever waits in `take` goes on."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def wait_closed(self, timeout_s: float) -> bool:
        """True as soon as `close` was called, False after `timeout_s`."""
        with self._changed:
            return self._changed.wait_for(lambda: self._closed, timeout_s)

    def abandon(self) -> None:
        """Whatever still waits is lost."""
        with self._changed:
            self._lost += self.waiting
            self._in_hand = []
            self._urgent.clear()
            self._ordinary.clear()
            self._changed.notify_all()

    def flush(self, timeout_s: float) -> bool:
        """True once everything put before this call is stored; False when that took too long or something was lost."""
        with self._changed:
            newest, lost = self._arrived, self._lost
            return self._changed.wait_for(lambda: self._oldest() > newest, timeout_s) and self._lost == lost

    @property
    def waiting(self) -> int:
        return len(self._urgent) + len(self._ordinary) + len(self._in_hand)

    @property
    def lost(self) -> int:
        return self._lost

    @property
    def closed(self) -> bool:
        return self._closed

    def _oldest(self) -> int:
        heads = (queue[0][0] for queue in (self._urgent, self._ordinary, self._in_hand) if queue)
        return min(heads, default=self._arrived + 1)

    def _trim(self) -> None:
        while len(self._ordinary) > self._limit:
            self._ordinary.popleft()
            self._lost += 1
        while len(self._urgent) > self._urgent_limit:
            self._urgent.pop()
            self._lost += 1


def _parted(records: Iterable[Numbered]) -> tuple[list[Numbered], list[Numbered]]:
    urgent: list[Numbered] = []
    ordinary: list[Numbered] = []
    for numbered in records:
        (urgent if is_urgent(numbered[1]) else ordinary).append(numbered)
    return urgent, ordinary
