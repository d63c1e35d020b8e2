"""The one loop: whatever comes in goes through the engine, and what the engine decides is carried out at once."""

import logging
import threading
from collections.abc import Callable, Iterable

from watchdog.checks.no_readings import NoReadings
from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, Suspended, Tick, Unusable
from watchdog.core.outputs import Event
from watchdog.core.values import INFINITY
from watchdog.guard.hands import Hands
from watchdog.guard.inbox import Inbox, Question

log = logging.getLogger("heatwarden")

LONGEST_WAIT_S = 0.5
"""The loop looks at the clock at least this often."""

STALL_S = 5.0
"""A turn this late means that nobody listened (a stopped process, a starved machine): no source is blamed for it."""

SHORTEST_STALL_S = 0.25

SLEPT_S = 1.0
"""A computer that slept longer than this has missed something."""

SHORT_DELAY_S = 0.1
"""A turn later than this has readings waiting that differ so much in age that their order matters."""

LATE_AGAIN_S = 60.0
"""Readings that are judged late are told once in so long a time."""

BATCH = 512
"""Readings taken in one go, between looks at relay reports."""

EVERYTHING = 1_000_000


def stall_for(engine: Engine) -> float:
    """The longest delay, in seconds, that cannot be taken for the silence of any source of this engine.

    When nobody listens any more, what was heard last may already be as old as the longest interval, half a grace.
    """
    checks = (check for heater in engine.site.heaters.values() for check in heater.checks)
    grace_s = min((check.limits.grace_s for check in checks if isinstance(check, NoReadings)), default=INFINITY)
    return max(SHORTEST_STALL_S, min(STALL_S, 0.5 * grace_s - LONGEST_WAIT_S))


class Loop:
    """One turn at a time, whoever takes it. `turns` counts on while it is well.

    A thread of its own sees to deadlines, reports and people. A reading that comes while that thread sleeps, and finds nothing
    that waits, is judged by the thread that brought it: to wake another one takes longer than the judgement and its command.
    """

    def __init__(
        self,
        engine: Engine,
        inbox: Inbox,
        hands: Hands,
        answer: Callable[[Question], None],
        *,
        now: Callable[[], float],
        slept_s: Callable[[], float],
        stall_s: float = STALL_S,
    ) -> None:
        """A turn that is later than `stall_s` seconds blames no source; see `stall_for`."""
        self._stall_s = stall_s
        self._engine, self._inbox, self._hands, self._answer = engine, inbox, hands, answer
        self._now, self._slept_s = now, slept_s
        self._last_at = now()
        self._last_slept_s = slept_s()
        self._wakes_at = INFINITY
        self._turning = threading.Lock()
        self._stopping = False
        inbox.judge = self.judge
        self.turns = 0
        self.judged = 0
        self.worst_lag_s = 0.0
        self._late_told_at = -INFINITY

    def run(self) -> None:
        """Go on until stopped."""
        while not self._stopping:
            at = self._now()
            self._wakes_at = min(self._engine.deadline(), at + LONGEST_WAIT_S)
            self._inbox.wait(self._wakes_at - at)
            self.turn()
        with self._turning:  # whoever judges just now comes to an end first
            pass

    def stop(self) -> None:
        """End after this turn; from any thread or a signal handler."""
        self._stopping = True
        self._inbox.ring()

    def judge(self, reading: Reading | Unusable) -> bool:
        """Judge a reading in the thread that brought it, and carry out what follows. Never waits.

        False when it has to wait its turn: behind another turn, behind what came before, or behind a gap in time.
        """
        if not self._turning.acquire(blocking=False):
            return False
        try:
            late_s = reading.at - self._last_at - LONGEST_WAIT_S
            if self._inbox.waiting() or late_s > SHORT_DELAY_S or self._slept_s() - self._last_slept_s > SLEPT_S:
                return False
            self._judge(reading)
            if self._engine.deadline() < self._wakes_at:
                self._inbox.ring()
        finally:
            self._turning.release()
        return True

    def turn(self) -> None:
        """One turn: reports first, then people, then readings, then time.

        Time is that of its beginning: whatever came until then is heard before any silence is judged. After a delay readings
        come before reports and in the order of their coming, so that what waited in one queue is not taken for silent
        because another queue was emptied first.
        """
        with self._turning:
            self._turn()

    def _turn(self) -> None:
        at, delayed = self._mind_the_gap()
        inbox = self._inbox
        try:
            if delayed:
                self._take(sorted(inbox.readings(EVERYTHING, at), key=_came_at))
            for report in inbox.reports():
                self._feed(report)
            for function in inbox.calls():
                function()
            for question in inbox.questions():
                self._answer(question)
            self._take(inbox.readings(BATCH, at))
            if self._engine.deadline() <= at:
                self._feed(Tick(at))
        except Exception:  # the loop outlives whatever one input did to it
            log.exception("an input could not be handled")
        self.turns += 1

    def _take(self, readings: Iterable[Reading | Unusable]) -> None:
        oldest_at = INFINITY
        for reading in readings:
            if reading.at < oldest_at:  # noqa: PLR1730 - on the path of each reading
                oldest_at = reading.at
            self._judge(reading)
        if oldest_at != INFINITY:
            self._note_lag(oldest_at)

    def _note_lag(self, oldest_at: float) -> None:
        """A computer that is too busy for what it has to watch must not keep that to itself."""
        at = self._now()
        lag_s = at - oldest_at
        self.worst_lag_s = max(self.worst_lag_s, lag_s)
        if lag_s > self._stall_s and at > self._late_told_at + LATE_AGAIN_S:
            self._late_told_at = at
            sentence = f"readings were judged {lag_s:.1f} s after they came: this computer is too busy, or was stopped"
            self._hands.carry_out([Event(at, "late", "warning", sentence, numbers={"lag_s": lag_s})])

    def _judge(self, reading: Reading | Unusable) -> None:
        """The path of every reading."""
        self.judged += 1
        try:
            outputs = self._engine.feed(reading)
            if outputs:
                self._hands.carry_out(outputs)
        except Exception:  # the next reading must be judged all the same
            log.exception("a reading could not be handled")

    def _feed(self, item: Input) -> None:
        self._hands.carry_out(self._engine.feed(item))

    def _mind_the_gap(self) -> tuple[float, bool]:
        """The time of this turn, and whether it comes late. Time during which nobody listened is no silence of a source."""
        at, slept_s = self._now(), self._slept_s()
        late_s = at - self._last_at - LONGEST_WAIT_S
        asleep_s = slept_s - self._last_slept_s
        self._last_at, self._last_slept_s = at, slept_s
        self.worst_lag_s = max(self.worst_lag_s, late_s)
        if late_s > self._stall_s or asleep_s > SLEPT_S:
            try:
                self._feed(Suspended(at, max(late_s, 0.0) + asleep_s))
            except Exception:
                log.exception("the gap could not be handled")
        return at, late_s > SHORT_DELAY_S


def _came_at(reading: Reading | Unusable) -> float:
    return reading.at
