"""Whether what was read since a moment rises or falls, and how sure that is: a straight line by least squares."""

from math import sqrt
from typing import ClassVar

from watchdog.core.values import JsonObject, from_plain, to_plain

LEAST_COUNT = 8


class Trend:
    """Sums over all readings since it began. Seconds and degrees Celsius, both counted from the first reading."""

    STATE: ClassVar[tuple[str, ...]] = ("_count", "_at", "_celsius", "_sum_s", "_sum_k", "_squares_s2", "_products_sk", "_squares_k2")
    __slots__ = STATE

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin with the next reading."""
        self._count = 0
        self._at = self._celsius = 0.0
        self._sum_s = self._sum_k = self._squares_s2 = self._products_sk = self._squares_k2 = 0.0

    def age_s(self, at: float) -> float:
        """Since when it sums up, in seconds; 0 before the first reading."""
        return at - self._at if self._count else 0.0

    def add(self, at: float, celsius: float) -> None:
        """Take a reading."""
        if not self._count:
            self._at, self._celsius = at, celsius
        self._count += 1
        later_s, higher_k = at - self._at, celsius - self._celsius
        self._sum_s += later_s
        self._sum_k += higher_k
        self._squares_s2 += later_s * later_s
        self._products_sk += later_s * higher_k
        self._squares_k2 += higher_k * higher_k

    def line(self) -> tuple[float, float] | None:
        """The slope and its standard error, in kelvin a second; None where there are too few readings.

        Any handbook of statistics, such as the NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.1.
        """
        count = self._count
        if count < LEAST_COUNT:
            return None
        spread_s2 = self._squares_s2 - self._sum_s * self._sum_s / count
        if spread_s2 <= 0.0:
            return None
        shared_sk = self._products_sk - self._sum_s * self._sum_k / count
        slope = shared_sk / spread_s2
        left_k2 = max(self._squares_k2 - self._sum_k * self._sum_k / count - slope * shared_sk, 0.0)
        return slope, sqrt(left_k2 / (count - 2) / spread_s2)

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
