"""A target that was held, and how far the reading has fallen below it since."""

from typing import ClassVar

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain
from watchdog.thermal.arrears import WILD_K

HELD_K = 2.0
"""A reading so near its target, or above it, holds it."""

COLD_C, COLD_K = 25.0, 5.0
"""Something cold comes from a room like this, and a little more than what it can do is allowed."""


class Hold:
    """When one and the same target was last held. Temperatures in degrees Celsius, times in seconds."""

    STATE: ClassVar[tuple[str, ...]] = ("_target_c", "held_at")
    __slots__ = STATE

    def __init__(self) -> None:
        self._target_c = 0.0
        self.held_at = NEVER

    def follow(self, at: float, target_c: float, low_c: float) -> None:
        """Take a reading; `low_c` is the lower of the newest two. Another target has to be reached first; wild words hold nothing."""
        if target_c != self._target_c:
            self._target_c, self.held_at = target_c, NEVER
        if target_c - HELD_K <= low_c <= target_c + WILD_K:
            self.held_at = at

    def forget(self) -> None:
        """No heat is asked for, or a gap hides what happened."""
        self.held_at = NEVER

    def allowed_k(self, at: float, cold_share: float, draft_k_per_s: float) -> float:
        """So far may it be below its target by now.

        Two bodies that touch share their heat (Incropera, 5.1): something cold takes `cold_share` of the excess over the room at
        most; and a draft takes its time.
        """
        return COLD_K + cold_share * max(self._target_c - COLD_C, 0.0) + draft_k_per_s * (at - self.held_at)

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
