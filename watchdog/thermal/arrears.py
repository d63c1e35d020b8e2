"""How far a reading has fallen behind what even the weakest and heaviest such heater had reached by now."""

from typing import NamedTuple, Protocol

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain


class Slowest(Protocol):
    """The slowest rise that physics allow."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float: ...


class Sample(NamedTuple):
    """A reading in degrees Celsius, its time, and the duty that led to it; in the order by which the middle one is found."""

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
        """Take a reading; the debt in kelvin. A wild sample is left out: of the three newest readings the middle one counts.

        It counts with its own time, or a gap between two readings would be owed before the reading that pays for it counts.
        """
        sample = Sample(temperature_c, at, duty)
        if self.since == NEVER:
            self.since, self.since_c, self._heard = at, temperature_c, 0
            self._older = self._newer = self._last = sample
        _, middle, _ = sorted((self._older, self._newer, sample))
        self._older, self._newer = self._newer, sample
        self._heard += 1
        last, from_at = self._last, self.since + lag_s
        if self._heard > WILD_UNTIL and (middle.at > from_at or last.at > from_at):
            rate = slowest.slowest_rise_k_per_s(max(middle.temperature_c, last.temperature_c), middle.duty)
            owed_k = rate * (max(middle.at, from_at) - max(last.at, from_at))
            self.behind_k = max(0.0, self.behind_k + owed_k - (middle.temperature_c - last.temperature_c))
        self._last = middle
        return self.behind_k

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            value = from_plain(saved[key])
            setattr(self, key, Sample(*value) if isinstance(value, list) else value)
