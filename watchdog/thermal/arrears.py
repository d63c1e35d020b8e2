"""How far a reading has fallen behind what even the weakest and heaviest such heater had reached by now."""

from typing import ClassVar, Protocol

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain


class Slowest(Protocol):
    """The slowest rise that physics allow."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float: ...


WILD_UNTIL = 3
"""Among so few readings a wild one cannot be told from the others."""

WILD_K = 100.0
"""No heater moves so far from one reading to the next: two wild ones in a row are neither a rise nor, after them, a fall."""


class Arrears:
    """A debt in kelvin: it grows by the rise that was owed, and is paid by the rise that came. Never below zero.

    Physics owe nothing for the first `lag_s` after heat was first asked for: heat has to reach the sensor.
    """

    STATE: ClassVar[tuple[str, ...]] = (
        "behind_k", "since", "since_c", "_heard", "_last_c", "_last_at", "_last_duty", "_newer_c", "_newer_at", "_newer_duty", "_older_c",
    )  # fmt: skip
    __slots__ = STATE

    def __init__(self) -> None:
        self.behind_k = self.since_c = 0.0
        self.since = NEVER
        """Since when heat is asked for, and the reading then; NEVER while none is."""
        self._heard = 0
        self._last_c = self._last_duty = self._newer_c = self._newer_duty = self._older_c = 0.0
        self._last_at = self._newer_at = NEVER

    def clear(self) -> None:
        """No heat is asked for, or nobody knows."""
        self.behind_k = 0.0
        self.since = NEVER

    def add(self, at: float, temperature_c: float, duty: float, slowest: Slowest, lag_s: float) -> float:
        """Take a reading; the debt in kelvin, up to the reading before it.

        A wild sample is left out: each reading counts as the middle one of itself and its two neighbours, at its own time, or a
        gap would be owed before the reading that pays for it counts. Of the duties at both ends of a gap the lower one counts.
        """
        if self.since == NEVER:
            self.since, self.since_c, self._heard = at, temperature_c, 0
        elif at <= self._newer_at:
            return self.behind_k  # the same reading, judged once more
        older_c, newer_c, now_at, now_duty = self._older_c, self._newer_c, self._newer_at, self._newer_duty
        self._older_c, self._newer_c, self._newer_at, self._newer_duty = newer_c, temperature_c, at, duty
        self._heard += 1
        if self._heard < WILD_UNTIL:
            return self.behind_k
        low_c, high_c = (older_c, newer_c) if older_c < newer_c else (newer_c, older_c)
        now_c = low_c if temperature_c < low_c else high_c if temperature_c > high_c else temperature_c
        from_at = self.since + lag_s
        if self._heard > WILD_UNTIL and now_at > from_at:
            last_c, last_duty, last_at = self._last_c, self._last_duty, self._last_at
            rate = slowest.slowest_rise_k_per_s(last_c if last_c > now_c else now_c, last_duty if last_duty < now_duty else now_duty)
            risen_k = now_c - last_c
            if not -WILD_K <= risen_k <= WILD_K:
                risen_k = 0.0
            behind_k = self.behind_k + rate * (now_at - (last_at if last_at > from_at else from_at)) - risen_k
            self.behind_k = behind_k if behind_k > 0.0 else 0.0
        self._last_c, self._last_at, self._last_duty = now_c, now_at, now_duty
        return self.behind_k

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
