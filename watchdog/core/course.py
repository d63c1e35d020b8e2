"""How a reading came to where it stands: by a rise, by ever slower steps, or by a fall."""

from typing import ClassVar

from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain
from watchdog.core.view import HeaterView

MARK_S = 45.0
RISING_K_PER_S, JUMPING_K_PER_S = 0.03, 2.0
"""What rises so fast does not stand still all at once, however weak it is: near its end it has long become slow."""

CLIMB_TIMES, FALLEN_K = 2.5, 2.0
"""What climbs ever more slowly takes no more than so many times as long for a step as for the last. A fall by so much ends a climb."""

SUNK_K, SUNK_STEPS, WILD_K = 5.0, 3, 25.0
"""It sank when it fell by so much, and not at once: touched by something cold, which no facts tell, it stands still before it rises.
A fall further than the last of these from one reading to the next is none: one of them is wild."""


class Course:
    """Temperatures in degrees Celsius, times in engine seconds."""

    STATE: ClassVar[tuple[str, ...]] = (
        "top_c", "_top_at", "_climb_s", "_mark_c", "_mark_at", "_earlier_c", "_earlier_at", "_sunk_k", "_sunk_steps",
    )  # fmt: skip
    __slots__ = STATE

    def __init__(self) -> None:
        self.top_c, self._top_at = -INFINITY, NEVER
        self._sunk_k = self._climb_s = 0.0
        self._sunk_steps = 0
        self._mark_c = self._earlier_c = 0.0
        self._mark_at = self._earlier_at = NEVER

    def move(self, now: float, temperature_c: float, fallen_k: float) -> None:
        """Take a reading that differs from the one before by `fallen_k`, in kelvin, negative for a rise.

        Two marks follow, so that one of them always lies `MARK_S` back or a little more; and how far it sank without coming back.
        """
        if now - self._mark_at >= MARK_S:
            self._earlier_c, self._earlier_at = self._mark_c, self._mark_at
            self._mark_c, self._mark_at = temperature_c, now
        sunk_k = self._sunk_k + (fallen_k if fallen_k <= WILD_K else 0.0)
        if sunk_k <= 0.0:
            self._sunk_k, self._sunk_steps = 0.0, 0
        else:
            self._sunk_k, self._sunk_steps = sunk_k, self._sunk_steps + (fallen_k > 0.0)

    def was_rising(self, since: float, temperature_c: float) -> bool:
        """Whether it came to the value that it has repeated `since` then by a rise."""
        elapsed_s, risen_k = since - self._earlier_at, temperature_c - self._earlier_c
        return elapsed_s <= 3.0 * MARK_S and RISING_K_PER_S * elapsed_s <= risen_k <= JUMPING_K_PER_S * elapsed_s

    @property
    def sank(self) -> bool:
        """Whether something cold took it down, and not at once."""
        return self._sunk_k >= SUNK_K and self._sunk_steps >= SUNK_STEPS

    def climb(self, view: HeaterView) -> None:
        """How long it took from its highest value before to a new one, since it was asked for this target. A lone wild one is neither."""
        climbed = view.low_c > self.top_c
        self._climb_s = view.now - max(self._top_at, view.target_changed_at) if climbed else 0.0
        self.top_c, self._top_at = view.low_c if climbed else view.high_c, view.now

    def climbs_in_s(self, asked_at: float, most_s: float) -> float:
        """How long its next step may take, in seconds, `most_s` at most; 0 where it has made none since it was asked for."""
        return min(CLIMB_TIMES * self._climb_s, most_s) if self._top_at > asked_at else 0.0

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
