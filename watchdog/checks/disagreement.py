"""Two sensors of one heater tell different temperatures."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import NEVER
from watchdog.core.view import HeaterView

ROOM_C = 25.0
COLDER = 2.0
"""A sensor on a face is colder than one at the mat, and a draft makes it colder still."""

STEADY_K, STEADY_LAGS = 3.0, 4.0
"""Within so much of its own smoothed value, for so many time constants, a heater holds."""

STALE_INTERVALS = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DisagreementLimits:
    """Limits of the disagreement check."""

    apart_k: float
    """How far, in kelvin, two sensors of this heater may lie apart at room temperature."""

    share: float
    """And so much more for each kelvin above it: they sit in different places."""

    lag_s: float
    """The slower one may lag by this time constant, in seconds."""

    confirm_s: float
    """How long they must lie apart, in seconds."""


class Disagreement(Check):
    """Cuts when two sensors of one heater lie further apart than their places and their lag explain.

    A further sensor that is hotter means that the controller heats by a sensor that reads low: a loose seat, a drift, a wrong table. One
    that is colder, by twice as much and while the heater holds, means that one of the two has come off, and nobody knows which. The
    controller's sensor is compared as it is and as it was, smoothed by `lag_s`: during heat-up and cooling a sensor that lags lies between.
    Both must have spoken again while they are apart: one wild sample of a sensor that speaks seldom stands for long.
    """

    name: ClassVar[str] = "disagreement"
    STATE: ClassVar[tuple[str, ...]] = (
        "_slow_c", "_slow_at", "_hotter_since", "_hotter_at",
        "_colder_since", "_colder_at", "_steady_since",
    )  # fmt: skip
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: DisagreementLimits) -> None:
        super().__init__()
        self.limits = limits
        self._slow_c = 0.0
        self._slow_at = self._steady_since = NEVER
        self._hotter_since = self._hotter_at = self._colder_since = self._colder_at = NEVER

    def heeds(self, view: HeaterView) -> bool:
        return bool(view.sensors)

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if not view.fresh or temperature_c is None or not view.sensors:
            return None
        now = view.now
        self._follow(now, temperature_c)
        fresh = [said for name, said in view.sensors.items() if now - said[1] <= STALE_INTERVALS * view.interval_s(name)]
        if not fresh or now - _own_at(view) > STALE_INTERVALS * view.interval_s(""):
            self._hotter_since = self._colder_since = NEVER
            return None
        return self._hotter(view, temperature_c, *max(fresh)) or self._colder(view, temperature_c, *min(fresh))

    def _follow(self, now: float, temperature_c: float) -> None:
        if self._slow_at == NEVER:
            self._slow_c, self._steady_since = temperature_c, now
        else:
            elapsed_s = now - self._slow_at
            self._slow_c += (temperature_c - self._slow_c) * elapsed_s / (self.limits.lag_s + elapsed_s)
        self._slow_at = now

    def _allowed_k(self, celsius: float) -> float:
        return self.limits.apart_k + self.limits.share * max(0.0, celsius - ROOM_C)

    def _hotter(self, view: HeaterView, temperature_c: float, other_c: float, other_at: float) -> Finding | None:
        own_c = max(temperature_c, self._slow_c)
        beyond_k, allowed_k = other_c - own_c, self._allowed_k(other_c)
        self.near(0.9 * beyond_k / allowed_k)
        if not beyond_k > allowed_k:
            self._hotter_since = NEVER
            return None
        if self._hotter_since == NEVER:
            self._hotter_since, self._hotter_at = view.now, max(other_at, _own_at(view))
        lasted_s = view.now - self._hotter_since
        if not (lasted_s >= self.limits.confirm_s and min(other_at, _own_at(view)) > self._hotter_at):
            return None
        self.headroom = 1.0
        return Finding("cut", *self._told_apart(view, temperature_c, other_c, lasted_s, "hotter", allowed_k))

    def _colder(self, view: HeaterView, temperature_c: float, other_c: float, other_at: float) -> Finding | None:
        """Only where the heater has held one temperature for so long that no lag is left."""
        if abs(temperature_c - self._slow_c) > STEADY_K:
            self._steady_since = view.now
        beyond_k, allowed_k = temperature_c - other_c, COLDER * self._allowed_k(temperature_c)
        self.near(0.9 * beyond_k / allowed_k)
        if not beyond_k > allowed_k or view.now - self._steady_since < STEADY_LAGS * self.limits.lag_s:
            self._colder_since = NEVER
            return None
        if self._colder_since == NEVER:
            self._colder_since, self._colder_at = view.now, max(other_at, _own_at(view))
        lasted_s = view.now - self._colder_since
        if not (lasted_s >= self.limits.confirm_s and min(other_at, _own_at(view)) > self._colder_at):
            return None
        self.headroom = 1.0
        return Finding("cut", *self._told_apart(view, temperature_c, other_c, lasted_s, "colder", allowed_k))

    def _told_apart(
        self, view: HeaterView, temperature_c: float, other_c: float, lasted_s: float, how: str, allowed_k: float
    ) -> tuple[str, dict[str, float]]:
        apart_k = abs(other_c - temperature_c)
        sentence = (
            f"a further sensor of {view.heater} reads {other_c:.1f} degC while its controller sees {temperature_c:.1f} degC: "
            f"{apart_k:.1f} K {how} for {lasted_s:.0f} s; no more than {allowed_k:.1f} K is usual"
        )
        return sentence, {"temperature_c": temperature_c, "other_c": other_c, "apart_k": apart_k, "lasted_s": lasted_s}


def _own_at(view: HeaterView) -> float:
    """When the controller's own sensor spoke last. Where it speaks only on change, what it said holds as long as it lives."""
    return max(view.temperature_at, view.source.alive_at) if view.source.on_change else view.temperature_at
