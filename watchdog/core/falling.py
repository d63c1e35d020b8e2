"""How fast something that cools slowly has been falling for some minutes."""

from typing import ClassVar

from watchdog.core.trend import Trend
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

BLOCK_S, LEAST_COUNT = 120.0, 6
"""Means are taken over so long, and over so many readings at least: what is left of the noise is far below what a body loses meanwhile."""

GAP_S = 60.0
"""A longer silence of a source that reports periodically hides what happened."""

TOP_S, TOP_K, TOP_TIMES = 300.0, 0.5, 3.0
"""Within so long it must have come down from its top by so much, and by so many times what two readings of one temperature may differ."""

TREND_S = 300.0
"""Until there are blocks, a line through all readings since it is off tells; a fall bends away from it for longer."""

SURE = 3.0
"""A slope is sure to so many times its standard error."""


class Falling:
    """Means of the newest two whole blocks of readings, the top of the last minutes, and a line. Degrees Celsius and seconds."""

    STATE: ClassVar[tuple[str, ...]] = (
        "_began_at", "_newest_at", "_sum_c", "_count", "_mean_c", "_mean_at", "_before_c", "_before_at", "_top_c", "_top_at", "_least_c",
    )  # fmt: skip
    __slots__ = (*STATE, "_trend")

    def __init__(self) -> None:
        self._began_at = self._newest_at = NEVER
        self._sum_c = self._mean_c = self._before_c = self._top_c = self._least_c = 0.0
        self._mean_at = self._before_at = self._top_at = NEVER
        self._count = 0
        self._trend = Trend()

    def add(self, at: float, low_c: float, high_c: float, *, on_change: bool = False) -> None:
        """Take a reading of a heater that is off, as the lower and the higher of the newest two: a lone wild one is no top and no fall."""
        if at - self._newest_at > GAP_S and not on_change:
            self.forget()
        if self._newest_at == NEVER:
            self._begin(at)
        self._newest_at = at
        self._trend.add(at, 0.5 * (low_c + high_c))
        self._sum_c += high_c
        self._count += 1
        if at - self._began_at >= BLOCK_S and self._count >= LEAST_COUNT:
            self._before_c, self._before_at = self._mean_c, self._mean_at
            self._mean_c, self._mean_at = self._sum_c / self._count, 0.5 * (self._began_at + at)
            self._begin(at)
        if low_c >= self._top_c or at - self._top_at > TOP_S:
            self._top_c, self._top_at, self._least_c = low_c, at, high_c
        elif high_c < self._least_c:
            self._least_c = high_c

    def _begin(self, at: float) -> None:
        self._began_at, self._sum_c, self._count = at, 0.0, 0

    def forget(self) -> None:
        """It is heated again, or cold: so it is with each reading of a heater that heats, and most often nothing is known already."""
        if self._newest_at == NEVER:
            return
        self._newest_at = self._mean_at = self._before_at = self._top_at = NEVER
        self._trend.forget()

    def rate_k_per_s(self, temperature_c: float, apart_k: float) -> float:
        """Positive where it falls; 0 while that is not known. Two readings of one temperature may differ by `apart_k`.

        It counts for nothing that it fell before, where `temperature_c` says that it has risen since.
        """
        rate = 0.0
        if self._before_at != NEVER and temperature_c <= self._mean_c + apart_k:
            rate = (self._before_c - self._mean_c) / (self._mean_at - self._before_at)
        if self._top_at == NEVER or temperature_c > self._least_c + apart_k:
            return rate
        fallen_k, took_s = self._top_c - temperature_c, self._newest_at - self._top_at
        if took_s > 0.0 and fallen_k >= max(TOP_K, TOP_TIMES * apart_k):
            rate = max(rate, fallen_k / took_s)
        slope, doubt = self._line(0.0)
        return max(rate, -slope) if slope + doubt < 0.0 else rate

    def may_fall(self, slowest_k_per_s: float, heated_k_per_s: float, resolution_k: float) -> bool:
        """Whether it may have fallen as slowly as that, unseen in noise and steps; and surely did not rise as if it were heated."""
        slope, doubt = self._line(resolution_k)
        return slope - doubt <= -slowest_k_per_s and slope + doubt < heated_k_per_s

    def _line(self, resolution_k: float) -> tuple[float, float]:
        """The slope since it is off and how far it is in doubt, in kelvin a second; all is in doubt before it is known."""
        age_s, line = self._trend.age_s(self._newest_at), self._trend.line()
        if line is None or age_s > TREND_S:
            return 0.0, INFINITY
        return line[0], SURE * line[1] + 0.5 * resolution_k / age_s

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE} | {"trend": self._trend.snapshot()}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
        self._trend.restore(saved["trend"])
