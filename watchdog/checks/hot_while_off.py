"""The heater is commanded off, or given no heat, yet stays hot."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import NEVER
from watchdog.core.view import HeaterView, is_warmed

DUTY_SHOWS, DUTY_INTERVALS = 0.05, 2.0
"""A duty that was never seen above this tells nothing by being 0; and it must have been told so many reporting intervals ago at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HotWhileOffLimits:
    """Limits of the hot-while-off check."""

    hot_c: float
    """Above this, in degrees Celsius, a heater that is off must be seen to cool."""

    neighbour_k: float
    """It must also be this much hotter than its warmest neighbour, in kelvin: a warm enclosure cools nothing."""

    settle_s: float
    """How long after switch-off stored heat may hold it, in seconds."""

    window_s: float
    """Within this time, in seconds, it must fall by `fall_k`."""

    fall_k: float
    """The fall, in kelvin, that even the slowest heater of its class shows in `window_s` when it is that hot."""


class HotWhileOff(Check):
    """Cuts when a heater that is commanded off, or whose controller gives it no heat, stays hot.

    In each `window_s` it must fall by `fall_k`. A big plate cools slowly and a warm enclosure holds it: only above `hot_c`, and
    only as long as it is `neighbour_k` hotter than its neighbours, must it cool. Half a wave of mains, or a leak through a
    switch, holds a bed hot just so.
    """

    name: ClassVar[str] = "hot while off"
    STATE: ClassVar[tuple[str, ...]] = ("_off_since", "_mark_c", "_mark_at", "_shows_duty")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: HotWhileOffLimits) -> None:
        super().__init__()
        self.limits = limits
        self._off_since = NEVER
        self._mark_c = 0.0
        self._mark_at = NEVER
        self._shows_duty = False

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if temperature_c is None:
            return None
        duty = view.duty
        if duty is not None and duty > DUTY_SHOWS:
            self._shows_duty = True
        if not view.is_off and not (duty is not None and duty <= 0.0 and self._is_told_of_duty(view)):
            self._off_since = NEVER
            return None
        if not view.fresh or view.sensor:
            return None
        now = view.now
        high_c = view.high_c
        if self._off_since == NEVER:
            self._off_since = now
        settling = now - self._off_since < self.limits.settle_s
        if settling or not self._must_cool(view, view.low_c) or high_c <= self._mark_c - self.limits.fall_k:
            self._mark_c, self._mark_at = high_c, now
            return None
        stayed_s = now - self._mark_at
        self.near(stayed_s / self.limits.window_s)
        speaks_of_a_fall = temperature_c <= self._mark_c - self.limits.fall_k  # perhaps the first word after a gap: the next one tells
        if speaks_of_a_fall or not stayed_s >= self.limits.window_s:
            return None
        self.headroom = 1.0
        state = "off" if view.is_off else "given no heat"
        return Finding(
            "cut",
            f"{view.heater} has been {state} for {now - self._off_since:.0f} s, yet stays at {temperature_c:.1f} degC: "
            f"in {stayed_s:.0f} s it did not fall by {self.limits.fall_k:.1f} K",
            {"temperature_c": temperature_c, "off_s": now - self._off_since, "stayed_s": stayed_s, "mark_c": self._mark_c},
        )

    def _is_told_of_duty(self, view: HeaterView) -> bool:
        """Its controller has just told its duty, which is not 0 whatever it does."""
        return self._shows_duty and view.duty_at >= view.now - DUTY_INTERVALS * view.source.longest_interval_s

    def _must_cool(self, view: HeaterView, temperature_c: float) -> bool:
        return temperature_c > self.limits.hot_c and not is_warmed(view, temperature_c, self.limits.neighbour_k)
