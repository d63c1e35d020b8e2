"""What can be learnt from a heater's own readings: reporting period, slope, noise and resolution.

The slope comes from running sums that are re-based.
"""

from array import array

from watchdog.core.roughness import Roughness
from watchdog.core.values import INFINITY, Json, JsonObject

CAPACITY = 600
"""Samples kept at most; two arrays of doubles, 9.6 KB a heater."""

REBASE_EVERY = 512
"""After so many samples the sums are taken anew relative to the newest sample: no drift, however long it runs."""


class Observer:
    """Least-squares slope over the last `window_s` seconds and a running estimate of the reporting period.

    Times are engine seconds, temperatures degrees Celsius. Slope: ordinary least squares, (n Sxy - Sx Sy) / (n Sxx - Sx^2)
    with times and temperatures relative to a recent sample, checked against scipy and NIST's Norris set in the tests. A sample that lies
    further than `wild_k` from both of its neighbours, which agree with each other, is no temperature and counts as the one before it.
    """

    __slots__ = (
        "_base_at",
        "_base_c",
        "_count",
        "_since_rebase",
        "_start",
        "_sum_t",
        "_sum_tt",
        "_sum_ty",
        "_sum_y",
        "_temps",
        "_times",
        "_wild_k",
        "_window_s",
        "period_s",
        "roughness",
    )

    def __init__(self, window_s: float = 60.0, wild_k: float = INFINITY) -> None:
        self._window_s, self._wild_k = window_s, wild_k
        self.clear()

    def clear(self) -> None:
        """Forget everything: after a sleep, a reset or a fault of our own."""
        self._times = array("d", bytes(8 * CAPACITY))
        self._temps = array("d", bytes(8 * CAPACITY))
        self._start = self._count = self._since_rebase = 0
        self._base_at = self._base_c = 0.0
        self._sum_t = self._sum_y = self._sum_tt = self._sum_ty = 0.0
        self.period_s: float | None = None
        self.roughness = Roughness()

    def add(self, at: float, temperature_c: float) -> None:
        """Take one live reading; times must not decrease."""
        self.roughness.add(temperature_c)
        times, temps = self._times, self._temps
        count, start = self._count, self._start
        if count:
            newest = start + count - 1
            if newest >= CAPACITY:
                newest -= CAPACITY
            if count > 1 and abs(temperature_c - temps[newest]) > self._wild_k:
                self._deny(newest, temperature_c)
            step_s = at - times[newest]
            self.period_s = step_s if self.period_s is None else self.period_s + 0.1 * (step_s - self.period_s)
            oldest_allowed = at - self._window_s
            while count and (count >= CAPACITY or times[start] < oldest_allowed):
                t, y = times[start] - self._base_at, temps[start] - self._base_c
                self._sum_t -= t
                self._sum_y -= y
                self._sum_tt -= t * t
                self._sum_ty -= t * y
                start = start + 1 if start + 1 < CAPACITY else 0
                count -= 1
        if not count or self._since_rebase >= REBASE_EVERY:
            self._rebase(start, count, at, temperature_c)
        t, y = at - self._base_at, temperature_c - self._base_c
        self._sum_t += t
        self._sum_y += y
        self._sum_tt += t * t
        self._sum_ty += t * y
        end = start + count
        if end >= CAPACITY:
            end -= CAPACITY
        times[end], temps[end] = at, temperature_c
        self._start, self._count = start, count + 1
        self._since_rebase += 1

    def _deny(self, newest: int, temperature_c: float) -> None:
        """Where the newest sample was a lone wild one, which the next one denies: put it in line with the one before it."""
        temps = self._temps
        before_c = temps[newest - 1]  # of the first place, the last one
        off_k = temps[newest] - before_c
        if abs(off_k) > self._wild_k and abs(temperature_c - before_c) < 0.5 * abs(off_k):
            self._sum_y -= off_k
            self._sum_ty -= (self._times[newest] - self._base_at) * off_k
            temps[newest] = before_c

    def _rebase(self, start: int, count: int, at: float, temperature_c: float) -> None:
        self._base_at, self._base_c, self._since_rebase = at, temperature_c, 0
        self._sum_t = self._sum_y = self._sum_tt = self._sum_ty = 0.0
        for offset in range(count):
            place = (start + offset) % CAPACITY
            t, y = self._times[place] - at, self._temps[place] - temperature_c
            self._sum_t += t
            self._sum_y += y
            self._sum_tt += t * t
            self._sum_ty += t * y

    def slope_k_per_s(self) -> float | None:
        """Least-squares slope over the window in kelvin a second; None with fewer than five samples or no spread in time."""
        n = self._count
        if n < 5:  # noqa: PLR2004 - the standard error of fewer is larger than any limit (NIST form of the slope error)
            return None
        spread = n * self._sum_tt - self._sum_t * self._sum_t
        if spread <= 1e-9:  # noqa: PLR2004 - all at one moment
            return None
        return (n * self._sum_ty - self._sum_t * self._sum_y) / spread

    def snapshot(self) -> JsonObject:
        """Samples and sums as they stand, so that a restored observer gives the same bits."""
        order = [(self._start + offset) % CAPACITY for offset in range(self._count)]
        times: list[Json] = [self._times[place] for place in order]
        temps: list[Json] = [self._temps[place] for place in order]
        sums: list[Json] = [self._base_at, self._base_c, self._sum_t, self._sum_y, self._sum_tt, self._sum_ty]
        return {"times": times, "temps": temps, "sums": sums, "since_rebase": self._since_rebase, "period_s": self.period_s} | {
            "roughness": self.roughness.snapshot()
        }

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot`."""
        self.clear()
        self._count = len(saved["times"])
        self._times[: self._count] = array("d", saved["times"])
        self._temps[: self._count] = array("d", saved["temps"])
        self._base_at, self._base_c, self._sum_t, self._sum_y, self._sum_tt, self._sum_ty = saved["sums"]
        self._since_rebase, self.period_s = saved["since_rebase"], saved["period_s"]
        self.roughness.restore(saved["roughness"])
