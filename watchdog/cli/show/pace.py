"""The workshop's time: it runs faster than the wall, for the printers and for the guard that watches them alike.

A bed takes minutes to heat, and nobody wants to wait for it. Only the demo knows of this: the guard is the real one, and all
that is different is the clock it is given. Whatever it has to do in a second it has to do here in a tenth of one.
"""

from watchdog.guard import clock
from watchdog.guard.inbox import Inbox

TIMES_FASTER = 10.0


def now() -> float:
    """Seconds of the workshop; the same in every process of this computer."""
    return TIMES_FASTER * clock.now()


def slept_s() -> float:
    """Seconds of the workshop that this computer has slept."""
    return TIMES_FASTER * clock.slept_s()


FAST = clock.REAL._replace(now=now, slept_s=slept_s)
"""The wall time stays what it is: it is for people."""


class FastInbox(Inbox):
    """An inbox whose waits are as long as the workshop's seconds are."""

    def wait(self, timeout_s: float) -> None:
        super().wait(timeout_s / TIMES_FASTER)


def minutes(at_s: float) -> str:
    """A time of the workshop as people read it: minutes and seconds."""
    whole_s = max(0, round(at_s))
    return f"{whole_s // 60}:{whole_s % 60:02d}"
