"""How fast something that cools slowly has been falling for some minutes."""

from typing import ClassVar

from watchdog.core.values import NEVER, JsonObject, from_plain, to_plain

BLOCK_S, LEAST_COUNT = 120.0, 6
"""Means are taken over so long, and over so many readings at least: what is left of the noise is far below what a body loses meanwhile."""

GAP_S = 60.0
"""A longer silence hides what happened."""


class Falling:
    """Means of the newest two whole blocks of readings. Temperatures in degrees Celsius, times in seconds."""

    STATE: ClassVar[tuple[str, ...]] = ("_began_at", "_newest_at", "_sum_c", "_count", "_mean_c", "_mean_at", "_before_c", "_before_at")
    __slots__ = STATE

    def __init__(self) -> None:
        self._began_at = self._newest_at = NEVER
        self._sum_c = self._mean_c = self._before_c = 0.0
        self._mean_at = self._before_at = NEVER
        self._count = 0

    def add(self, at: float, temperature_c: float) -> None:
        """Take a reading of a heater that is off."""
        if at - self._newest_at > GAP_S:
            self.forget()
            self._begin(at)
        self._newest_at = at
        self._sum_c += temperature_c
        self._count += 1
        if at - self._began_at >= BLOCK_S and self._count >= LEAST_COUNT:
            self._before_c, self._before_at = self._mean_c, self._mean_at
            self._mean_c, self._mean_at = self._sum_c / self._count, 0.5 * (self._began_at + at)
            self._begin(at)

    def _begin(self, at: float) -> None:
        self._began_at, self._sum_c, self._count = at, 0.0, 0

    def forget(self) -> None:
        """It is heated again, or cold."""
        self._newest_at = self._mean_at = self._before_at = NEVER

    def rate_k_per_s(self, temperature_c: float, within_k: float) -> float | None:
        """Positive where it falls; None while it learns, or where `temperature_c` is more than `within_k` above the newer mean."""
        if self._before_at == NEVER or temperature_c > self._mean_c + within_k:
            return None
        return (self._before_c - self._mean_c) / (self._mean_at - self._before_at)

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
