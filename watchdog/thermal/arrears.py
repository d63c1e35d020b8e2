"""How far a reading has fallen behind what even the weakest and heaviest such heater had reached by now."""

from typing import NamedTuple, Protocol

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain


class Slowest(Protocol):
    """The slowest rise that physics allow."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float: ...


class Sample(NamedTuple):
    """A reading in degrees Celsius, its time, and the duty that is told with it."""

    temperature_c: float
    at: float
    duty: float


WILD_UNTIL = 3
"""Among so few readings a wild one cannot be told from the others."""


class Arrears:
    """A debt in kelvin: it grows by the rise that was owed, and is paid by the rise that came. Never below zero.

    Physics owe nothing for the first `lag_s` after heat was first asked for: heat has to reach the sensor.
    """

    STATE = ("behind_k", "since", "since_c", "_heard", "_last", "_newer", "_older")
    __slots__ = STATE

    def __init__(self) -> None:
        self.behind_k = self.since_c = 0.0
        self.since = NEVER
        """Since when heat is asked for, and the reading then; NEVER while none is."""
        self._heard = 0
        self._last = self._newer = self._older = Sample(0.0, NEVER, 0.0)

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
        older, newer = self._older, self._newer
        self._older, self._newer = newer, Sample(temperature_c, at, duty)
        self._heard += 1
        if self._heard < WILD_UNTIL:
            return self.behind_k
        low_c, high_c = min(older.temperature_c, newer.temperature_c), max(older.temperature_c, newer.temperature_c)
        now = Sample(max(low_c, min(high_c, temperature_c)), newer.at, newer.duty)
        last, from_at = self._last, self.since + lag_s
        if self._heard > WILD_UNTIL and now.at > from_at:
            rate = slowest.slowest_rise_k_per_s(max(now.temperature_c, last.temperature_c), min(now.duty, last.duty))
            owed_k = rate * (now.at - max(last.at, from_at))
            self.behind_k = max(0.0, self.behind_k + owed_k - (now.temperature_c - last.temperature_c))
        self._last = now
        return self.behind_k

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            value = from_plain(saved[key])
            setattr(self, key, Sample(*value) if isinstance(value, list) else value)
