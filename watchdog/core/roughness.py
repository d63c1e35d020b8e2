"""Noise and resolution of a sensor, from its readings alone."""

from math import nan, sqrt

from watchdog.core.values import JsonObject

LEARNT_AFTER = 60
"""Readings before anything is said."""

MEMORY = 300
"""Readings over which the estimate of noise is averaged."""

LONG_RUN = 10
"""A value repeated more often than this teaches nothing more: a sensor that is stuck must not look quiet."""

WILD_K = 5.0
"""A second difference larger than this is a glitch or a real event, no noise."""

SMALLEST_STEP_K = 1e-6

PER_SECOND_DIFFERENCE = sqrt(2.0 / 3.14159265358979) * sqrt(6.0)
"""Mean absolute second difference of white noise with a standard deviation of one: sqrt(2/pi) sqrt(1 + 4 + 1)."""


class Roughness:
    """Noise from second differences, which a steady ramp does not move; resolution from the smallest step seen.

    `noise_k` is one standard deviation in kelvin, `resolution_k` the smallest step in kelvin; both None while it learns. A
    quantised reading on a ramp looks noisy by up to half a step, so only noise of about one step and more is told
    apart from quantisation.
    """

    __slots__ = ("_before_c", "_equal", "_last_c", "_learnt", "_mean_k", "_smallest_k")

    def __init__(self) -> None:
        self._last_c = self._before_c = nan
        self._learnt = self._equal = 0
        self._mean_k = 0.0
        self._smallest_k = WILD_K

    def add(self, temperature_c: float) -> None:
        """Take one reading."""
        last_c, before_c = self._last_c, self._before_c
        self._before_c, self._last_c = last_c, temperature_c
        step_k = abs(temperature_c - last_c)
        if step_k > SMALLEST_STEP_K:
            self._equal = 0
            if step_k < self._smallest_k:  # noqa: PLR1730 - on the path of each reading
                self._smallest_k = step_k
        else:
            self._equal += 1
            if self._equal > LONG_RUN:
                return
        rough_k = abs(temperature_c - last_c - last_c + before_c)
        if rough_k < WILD_K:  # NaN, at the beginning, is not
            if self._learnt < MEMORY:
                self._learnt += 1
            self._mean_k += (rough_k - self._mean_k) / self._learnt

    @property
    def noise_k(self) -> float | None:
        return self._mean_k / PER_SECOND_DIFFERENCE if self._learnt >= LEARNT_AFTER else None

    @property
    def resolution_k(self) -> float | None:
        return self._smallest_k if self._learnt >= LEARNT_AFTER and self._smallest_k < WILD_K else None

    def snapshot(self) -> JsonObject:
        values = {key: getattr(self, key) for key in self.__slots__}
        return {key: None if value != value else value for key, value in values.items()}  # noqa: PLR0124 - NaN is no JSON

    def restore(self, saved: JsonObject) -> None:
        for key in self.__slots__:
            setattr(self, key, nan if saved[key] is None else saved[key])
