"""Whether the loop goes on: looked at by a thread of its own, which tells the service manager, and ends the guard when it is stuck.

That thread says "alive" for the loop and never for itself: without a new turn there is no word.
"""

import logging
import threading
from collections.abc import Callable
from typing import Protocol

log = logging.getLogger("heatwarden")

LOOK_S = 0.25

SHORTEST_STALL_S = 1.0
"""The loop takes a turn twice a second, however little there is to do."""

WELL_AFTER_S = 60.0
"""A guard that has turned for so long has not died of its start."""


class Told(Protocol):
    """The service manager as this module knows it; see service_manager."""

    watchdog_s: float

    def ready(self) -> None: ...

    def status(self, text: str) -> None: ...

    def alive(self) -> None: ...

    def stopping(self) -> None: ...


class Vital:
    """Looks at the loop's count of turns. Times are monotonic seconds.

    A stall is measured by what this thread has seen of it, look by look: a process that was stopped for an hour and goes on has
    not been stuck for an hour.
    """

    def __init__(
        self,
        turns: Callable[[], int],
        now: Callable[[], float],
        *,
        status: Callable[[], str],
        manager: Callable[[], Told | None] = lambda: None,
        on_well: Callable[[], None] = lambda: None,
        end_when_stuck_s: float = 0.0,
        end: Callable[[float], None] = lambda _: None,
    ) -> None:
        """`manager` is made in the thread, off the way to armed. `end` is called after a stall of `end_when_stuck_s`; 0: never."""
        self._turns, self._now, self._status = turns, now, status
        self._make_manager, self._on_well = manager, on_well
        self._end_when_stuck_s, self._end = end_when_stuck_s, end
        self._manager: Told | None = None
        self._look_s = LOOK_S
        self._at = self._begun_at = self._pinged_at = now()
        self._seen = self._pinged = 0
        self._told = ""
        self._ready = self._well = False
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="vital", daemon=True)
        self.stalled_s = 0.0

    def start(self) -> None:
        """Begin to look. Ready is told after the first look that sees the loop turn."""
        self._thread.start()

    def stop(self) -> None:
        """The guard was told to stop: no more pings, and no longer stuck."""
        self._ended.set()
        if self._thread.ident is not None:
            self._thread.join(2 * LOOK_S)
        if self._manager is not None:
            self._manager.stopping()

    def meet(self, manager: Told | None) -> None:
        """From now on this manager is told."""
        self._manager = manager
        if manager is not None and manager.watchdog_s:
            self._look_s = min(LOOK_S, manager.watchdog_s / 10)

    def look(self, at: float) -> None:
        """One look, and what follows from it."""
        turns = self._turns()
        if turns != self._seen:
            self._seen, self.stalled_s = turns, 0.0
        else:
            self.stalled_s += min(at - self._at, 2 * self._look_s)
        self._at = at
        if not self._well and turns and at - self._begun_at >= WELL_AFTER_S:
            self._well = True
            self._on_well()
        if self._manager is not None:
            self._tell(self._manager, at)
        if 0.0 < self._end_when_stuck_s <= self.stalled_s:
            self._end(self.stalled_s)

    def _tell(self, manager: Told, at: float) -> None:
        if not self._seen:
            return
        if not self._ready:
            self._ready, self._pinged_at = True, at
            manager.ready()
        stuck = self.stalled_s > max(SHORTEST_STALL_S, manager.watchdog_s / 4)
        text = "STUCK: the loop does not turn" if stuck else self._status()
        if text != self._told:
            self._told = text
            manager.status(text)
        due = manager.watchdog_s and at - self._pinged_at >= manager.watchdog_s / 2
        if due and not stuck and self._seen != self._pinged:
            self._pinged_at, self._pinged = at, self._seen
            manager.alive()

    def _run(self) -> None:
        while not self._ended.wait(self._look_s):
            try:
                if self._manager is None:
                    self.meet(self._make_manager())
                    self._make_manager = lambda: None
                self.look(self._now())
            except Exception:
                log.exception("the look at the loop failed")
