"""A target that was held, and how far the reading has fallen below it since."""

from typing import ClassVar

from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain
from watchdog.thermal.arrears import WILD_K

HELD_K = 2.0
"""A reading so near its target, or above it, holds it."""

COLD_C, COLD_K = 25.0, 5.0
"""Something cold comes from a room like this, and a little more than what it can do is allowed."""


DRAFT_S, DRAFT_TIMES = 60.0, 3.0
"""In a draft so many times as much is lost at most; where the duty that held a target is known, that is all that counts after a while."""

HELD_S, NOW_S, RISES_K = 60.0, 30.0, 2.0
"""A duty is smoothed over so long while a target is held, and afterwards. What rose by so much since its lowest is on its way back."""


class Hold:
    """When one and the same target was last held, and at what duty (0 to 1). Temperatures in degrees Celsius, times in seconds."""

    STATE: ClassVar[tuple[str, ...]] = ("_target_c", "held_at", "_held_from", "_held_duty", "_duty", "_newest_at", "_low_c", "_lowest_c")
    __slots__ = STATE

    def __init__(self) -> None:
        self._target_c = self._held_duty = self._duty = self._low_c = self._lowest_c = 0.0
        self.held_at = self._held_from = self._newest_at = NEVER

    def follow(self, at: float, target_c: float, low_c: float, duty: float | None) -> None:
        """Take a reading; `low_c` is the lower of the newest two. Another target has to be reached first; wild words hold nothing."""
        if target_c != self._target_c:
            self._target_c, self.held_at, self._held_from = target_c, NEVER, NEVER
        held = target_c - HELD_K <= low_c <= target_c + WILD_K
        self._follow_duty(at, duty, held=held)
        self._newest_at, self._low_c = at, low_c
        if held:
            self.held_at, self._lowest_c = at, low_c
        elif low_c < self._lowest_c:
            self._lowest_c = low_c

    def _follow_duty(self, at: float, duty: float | None, *, held: bool) -> None:
        if duty is None:
            self._held_from = NEVER
        elif self._held_from == NEVER:
            if held:
                self._held_from, self._held_duty, self._duty = at, duty, duty
        else:
            elapsed_s = at - self._newest_at
            self._duty += (duty - self._duty) * min(1.0, elapsed_s / NOW_S)
            if held:
                self._held_duty += (duty - self._held_duty) * min(1.0, elapsed_s / HELD_S)

    def forget(self) -> None:
        """No heat is asked for, or a gap hides what happened."""
        self.held_at = NEVER

    def allowed_k(self, at: float, cold_share: float, draft_k_per_s: float) -> float:
        """So far may it be below its target by now.

        Two bodies that touch share their heat (Incropera, 5.1): something cold takes `cold_share` of the excess over the room at
        most; and a draft takes its time, but no more than leaves in balance what is lost and what is given.
        """
        excess_k, lost_s = max(self._target_c - COLD_C, 0.0), at - self.held_at
        return COLD_K + cold_share * excess_k + min(draft_k_per_s * lost_s, max(draft_k_per_s * DRAFT_S, self._draft_k(excess_k)))

    def _draft_k(self, excess_k: float) -> float:
        """What a draft takes for good: what is lost grows with the excess at least, so its balance is at that share of it."""
        known = self._held_from != NEVER and self.held_at - self._held_from >= HELD_S and self._held_duty > 0.0
        if not known or self._low_c >= self._lowest_c + RISES_K:
            return INFINITY
        return excess_k * max(0.0, 1.0 - self._duty / (DRAFT_TIMES * self._held_duty))

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
