"""How far a reading has fallen behind what even the weakest and heaviest such heater had reached by now."""

from typing import ClassVar, Protocol

from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain


class Rises(Protocol):
    """The rises that physics allow."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float: ...

    def fastest_rise_k_per_s(self, celsius: float) -> float: ...


WILD_UNTIL = 3
"""Among so few readings a wild one cannot be told from the others."""

WILD_K = 100.0
"""No heater moves so far from one reading to the next: two wild ones in a row are neither a rise nor, after them, a fall."""

JUMP_K, JUMP_TIMES = 8.0, 2.0
"""A rise by more than this, and than so many times what full power can do meanwhile, is no rise: what follows it is no fall either."""

FALL_K = 20.0
"""A fall by so much between two readings, which a jump takes back as a whole, was none."""

STOOD_S = 10.0
"""A value that stood for so long is no wild one, and need not wait for the next."""


class Arrears:
    """A debt in kelvin: it grows by the rise that was owed, and is paid by the rise that came. Never below zero.

    Physics owe nothing for the first `lag_s` after heat was first asked for: heat has to reach the sensor.
    """

    STATE: ClassVar[tuple[str, ...]] = (
        "behind_k", "since", "since_c", "_heard", "_last_c", "_last_at", "_last_duty", "_newer_c", "_newer_at", "_newer_duty", "_older_c",
        "_fell_from_c", "_behind_before_k",
    )  # fmt: skip
    __slots__ = STATE

    def __init__(self) -> None:
        self.behind_k = self.since_c = self._behind_before_k = 0.0
        self._fell_from_c = INFINITY
        self.since = NEVER
        """Since when heat is asked for, and the reading then; NEVER while none is."""
        self._heard = 0
        self._last_c = self._last_duty = self._newer_c = self._newer_duty = self._older_c = 0.0
        self._last_at = self._newer_at = NEVER

    def clear(self) -> None:
        """No heat is asked for, or nobody knows."""
        self.behind_k = 0.0
        self._fell_from_c = INFINITY
        self.since = NEVER

    @property
    def heard_at(self) -> float:
        """When the newest reading was taken."""
        return self._newer_at

    def add(self, at: float, temperature_c: float, duty: float, rises: Rises, lag_s: float) -> float:
        """Take a reading; the debt in kelvin, up to the reading before it, or up to this one where it only says the same after a while.

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
        self._settle(now_at, now_c, now_duty, rises, lag_s)
        if temperature_c == newer_c and at - now_at >= STOOD_S:
            self._settle(at, temperature_c, duty, rises, lag_s)
        return self.behind_k

    def _settle(self, at: float, now_c: float, duty: float, rises: Rises, lag_s: float) -> None:
        """Add what was owed until `at`, and take off what came."""
        from_at = self.since + lag_s
        last_c, last_at, last_duty = self._last_c, self._last_at, self._last_duty
        if self._heard > WILD_UNTIL and at > from_at and at > last_at:
            rate = rises.slowest_rise_k_per_s(last_c if last_c > now_c else now_c, last_duty if last_duty < duty else duty)
            risen_k = now_c - last_c
            if risen_k > JUMP_K and risen_k > JUMP_K + JUMP_TIMES * (at - last_at) * rises.fastest_rise_k_per_s(last_c):
                if now_c < self._fell_from_c - JUMP_K:
                    return
                self.behind_k, self._fell_from_c = self._behind_before_k, INFINITY  # what it fell by, two wild ones that differ, was none
                risen_k = 0.0
            elif risen_k < -WILD_K:
                risen_k = 0.0
            elif risen_k < -FALL_K:
                self._fell_from_c, self._behind_before_k = last_c, self.behind_k
            behind_k = self.behind_k + rate * (at - (last_at if last_at > from_at else from_at)) - risen_k
            self.behind_k = behind_k if behind_k > 0.0 else 0.0
        self._last_c, self._last_at, self._last_duty = now_c, at, duty

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
