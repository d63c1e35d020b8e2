"""What can be learnt from a heater's own readings: reporting period, slope, noise and resolution."""

from collections import deque
from statistics import linear_regression

from watchdog.core.roughness import Roughness
from watchdog.core.values import INFINITY, JsonObject

CAPACITY = 600
"""Samples kept at most: 38 KB a heater that reports ten times a second, 4 KB of one that reports each second."""

LEAST_COUNT, LEAST_S = 5, 1e-3
"""The slope of fewer samples, or of a shorter time, is in doubt by more than any limit."""


class Observer:
    """The samples of the last `window_s` seconds, their least-squares slope, and a running estimate of the reporting period.

    Times are engine seconds, temperatures degrees Celsius. The slope is ordinary least squares, of the standard library, checked
    against scipy and NIST's Norris set in the tests. A sample that lies further than `wild_k` from both of its neighbours, which
    agree with each other, is no temperature and counts as the one before it.
    """

    __slots__ = ("_temps", "_times", "_wild_k", "_window_s", "period_s", "roughness")

    def __init__(self, window_s: float = 60.0, wild_k: float = INFINITY) -> None:
        self._window_s, self._wild_k = window_s, wild_k
        self.clear()

    def clear(self) -> None:
        """Forget everything: after a sleep, a reset or a fault of our own."""
        self._times: deque[float] = deque(maxlen=CAPACITY)
        self._temps: deque[float] = deque(maxlen=CAPACITY)
        self.period_s: float | None = None
        self.roughness = Roughness()

    def add(self, at: float, temperature_c: float) -> None:
        """Take one live reading; times must not decrease."""
        self.roughness.add(temperature_c)
        times, temps = self._times, self._temps
        if times:
            if abs(temperature_c - temps[-1]) > self._wild_k and len(temps) > 1:
                self._deny(temperature_c)
            step_s, period_s = at - times[-1], self.period_s
            self.period_s = step_s if period_s is None else period_s + 0.1 * (step_s - period_s)
            oldest_allowed = at - self._window_s
            while times and times[0] < oldest_allowed:
                times.popleft()
                temps.popleft()
        times.append(at)
        temps.append(temperature_c)

    def _deny(self, temperature_c: float) -> None:
        """Where the newest sample was a lone wild one, which the next one denies: put it in line with the one before it."""
        before_c, newest_c = self._temps[-2], self._temps[-1]
        off_k = abs(newest_c - before_c)
        if off_k > self._wild_k and abs(temperature_c - before_c) < 0.5 * off_k:
            self._temps[-1] = before_c

    @property
    def knows_slope(self) -> bool:
        """True where there are samples enough."""
        times = self._times
        return len(times) >= LEAST_COUNT and times[-1] - times[0] >= LEAST_S

    def slope_k_per_s(self) -> float | None:
        """Least-squares slope over the window in kelvin a second; None with fewer than five samples or no spread in time."""
        return linear_regression(self._times, self._temps).slope if self.knows_slope else None

    def snapshot(self) -> JsonObject:
        """Its samples, so that a restored observer gives the same bits."""
        return {"times": [*self._times], "temps": [*self._temps], "period_s": self.period_s, "roughness": self.roughness.snapshot()}

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot`."""
        self.clear()
        self._times.extend(saved["times"])
        self._temps.extend(saved["temps"])
        self.period_s = saved["period_s"]
        self.roughness.restore(saved["roughness"])
