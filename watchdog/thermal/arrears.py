"""How far a reading has fallen behind what even the weakest and heaviest such heater had reached by now."""

from typing import Protocol

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain


class Slowest(Protocol):
    """The slowest rise that physics allow."""

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float: ...


class Arrears:
    """A debt in kelvin: it grows by the rise that was owed, and is paid by the rise that came. Never below zero.

    Physics owe nothing for the first `lag_s` after heat was first asked for: heat has to reach the sensor.
    """

    STATE = ("behind_k", "since", "since_c", "_last_c", "_last_at", "_heard_c", "_before_c")
    __slots__ = STATE

    def __init__(self) -> None:
        self.behind_k = self.since_c = self._last_c = 0.0
        self.since = self._last_at = NEVER
        """Since when heat is asked for, and the reading then; NEVER while none is."""
        self._heard_c = self._before_c = 0.0

    def clear(self) -> None:
        """No heat is asked for, or nobody knows."""
        self.behind_k = 0.0
        self.since = NEVER

    def add(self, at: float, temperature_c: float, duty: float, slowest: Slowest, lag_s: float) -> float:
        """Take a reading; the debt in kelvin. A wild sample is left out: of the three newest readings the middle one counts."""
        if self.since == NEVER:
            self.since, self.since_c = at, temperature_c
            self._heard_c = self._before_c = temperature_c
        heard_c, before_c = self._heard_c, self._before_c
        self._heard_c, self._before_c = temperature_c, heard_c
        temperature_c = max(min(heard_c, before_c), min(max(heard_c, before_c), temperature_c))
        if at > self.since and at - self.since >= lag_s:
            owed_k = slowest.slowest_rise_k_per_s(max(temperature_c, self._last_c), duty) * (at - self._last_at)
            self.behind_k = max(0.0, self.behind_k + owed_k - (temperature_c - self._last_c))
        self._last_c, self._last_at = temperature_c, at
        return self.behind_k

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
