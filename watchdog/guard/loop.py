"""The one loop: whatever comes in goes through the engine, and what the engine decides is carried out at once."""

import logging
from collections.abc import Callable

from watchdog.core.engine import Engine
from watchdog.core.inputs import Suspended, Tick
from watchdog.guard.hands import Hands
from watchdog.guard.inbox import Inbox, Question

log = logging.getLogger("heatwarden")

LONGEST_WAIT_S = 0.5
"""The loop looks at the clock at least this often."""

STALL_S = 5.0
"""A turn this late means that nobody listened (a stopped process, a starved machine): no source is blamed for it."""

BATCH = 512
"""Readings taken in one go, between looks at relay reports."""


class Loop:
    """For one thread. `turns` counts on while it is well."""

    def __init__(
        self,
        engine: Engine,
        inbox: Inbox,
        hands: Hands,
        answer: Callable[[Question], None],
        *,
        now: Callable[[], float],
        slept_s: Callable[[], float],
    ) -> None:
        self._engine, self._inbox, self._hands, self._answer = engine, inbox, hands, answer
        self._now, self._slept_s = now, slept_s
        self._last_at = now()
        self._last_slept_s = slept_s()
        self._stopping = False
        self.turns = 0
        self.judged = 0
        self.worst_lag_s = 0.0

    def run(self) -> None:
        """Go on until stopped."""
        while not self._stopping:
            self._inbox.wait(min(self._engine.deadline() - self._now(), LONGEST_WAIT_S))
            self.turn()

    def stop(self) -> None:
        """End after this turn; from any thread or a signal handler."""
        self._stopping = True
        self._inbox.ring()

    def turn(self) -> None:
        """One turn: reports first, then people, then readings, then time."""
        self._mind_the_gap()
        feed, carry_out = self._engine.feed, self._hands.carry_out
        inbox = self._inbox
        try:
            for report in inbox.reports():
                carry_out(feed(report))
            for function in inbox.calls():
                function()
            for question in inbox.questions():
                self._answer(question)
            for reading in inbox.readings(BATCH):
                self.judged += 1
                outputs = feed(reading)
                if outputs:
                    carry_out(outputs)
            at = self._now()
            if self._engine.deadline() <= at:
                carry_out(feed(Tick(at)))
        except Exception:  # the loop outlives whatever one input did to it
            log.exception("an input could not be handled")
        self.turns += 1

    def _mind_the_gap(self) -> None:
        """Time during which nobody listened is no silence of a source."""
        at, slept_s = self._now(), self._slept_s()
        late_s = at - self._last_at - LONGEST_WAIT_S
        asleep_s = slept_s - self._last_slept_s
        self._last_at, self._last_slept_s = at, slept_s
        self.worst_lag_s = max(self.worst_lag_s, late_s)
        if late_s > STALL_S or asleep_s > 1.0:
            try:
                self._hands.carry_out(self._engine.feed(Suspended(at, max(late_s, 0.0) + asleep_s)))
            except Exception:
                log.exception("the gap could not be handled")
