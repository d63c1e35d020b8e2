"""From the times of a log to engine time, which never decreases."""

from collections import deque
from typing import Final

from watchdog.core.values import NEVER

LATEST_S: Final = 5.0
"""A row up to this much older than the newest is late; one older still means that the clock was set back."""

_STEPS_KEPT: Final = 15


class LogClock:
    """Turns log seconds into engine seconds, one row at a time in the order of the log.

    The first row is engine time 0. A row up to 5 s back is late and dropped. Further back the log's clock was set back: from
    there on its times are re-based, so that engine time goes on from the newest by the usual step and nothing gains
    evidence. A leap forward is time without readings. `offset_s` is log seconds minus engine seconds, as of now.
    """

    def __init__(self) -> None:
        self.newest = NEVER
        self.offset_s = 0.0
        self.late = 0
        """Calls answered with None."""
        self.set_back = 0
        self._steps: deque[float] = deque(maxlen=_STEPS_KEPT)

    def engine_time(self, log_s: float) -> float | None:
        """The engine time of a row stamped `log_s`, or None if it is late."""
        newest = self.newest
        at = log_s - self.offset_s
        if at > newest:
            if newest == NEVER:
                self.offset_s = log_s
                at = 0.0
            else:
                self._steps.append(at - newest)
            self.newest = at
            return at
        if at == newest:
            return at
        if newest - at <= LATEST_S:
            self.late += 1
            return None
        return self._rebased(log_s)

    def _rebased(self, log_s: float) -> float:
        self.set_back += 1
        steps = sorted(self._steps)
        self.newest += steps[len(steps) // 2] if steps else 0.0
        self.offset_s = log_s - self.newest
        return self.newest
