"""The meter sees power while nothing asks for heat."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain
from watchdog.core.view import HeaterView

LATE_S, LATE_INTERVALS, LATEST_S = 5.0, 2.0, 30.0
"""Heat may be heard of so long, or so many reporting intervals, before the target that asks for it; and never longer than the last."""

SILENT_S = 180.0
"""A printer whose network comes up late may heat for so long before it is heard to be asked for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerWhileOffLimits:
    """Limits of the power-while-off check."""

    above_w: float
    """More than this, in watts, the whole printer does not draw for its board, fans and lights."""

    rise_w: float
    """And no more than this, in watts, above the least that it drew while nothing was asked for."""

    own_above_w: float
    """More than this, in watts, a meter of the heater alone does not show while it is off."""

    settle_s: float
    """How long after heat was last asked for a slow meter may still tell of it, in seconds."""


class Meter:
    """What one meter said while nothing asked for heat, and since when that is known."""

    STATE: ClassVar[tuple[str, ...]] = ("off_since", "high_since", "heard_at", "least_w", "_last_w")
    __slots__ = STATE

    def __init__(self) -> None:
        self.off_since = self.high_since = self.heard_at = NEVER
        self.least_w = self._last_w = INFINITY

    def forget(self) -> None:
        """Heat is asked for, or nobody knows. The least that it drew stays known."""
        self.off_since = self.high_since = NEVER
        self._last_w = INFINITY

    def report(self, at: float, watts: float, above_w: float) -> float:
        """Take a report; how long all reports have been above the limit, in seconds."""
        self.heard_at = at
        if watts <= above_w:
            self.high_since = NEVER
        elif self.high_since == NEVER:
            self.high_since = at
        return 0.0 if self.high_since == NEVER else at - self.high_since

    def learn(self, watts: float) -> None:
        """The least is what two reports in a row were not below: one that dropped to zero by mistake lowers nothing."""
        twice_w = INFINITY if self._last_w == INFINITY else max(watts, self._last_w)
        self.least_w, self._last_w = min(self.least_w, twice_w), watts


class PowerWhileOff(Check):
    """Cuts when a power meter says for some seconds, and twice at least, that heat is being made while nothing asks for any.

    The printer's meter counts only while every heater of the printer is off, a meter of the heater alone while that one is. A
    target that is unknown is not off, unless the duty is told as 0. What a printer said before it fell silent may have changed
    meanwhile, so its meter must then see heat for three minutes. It needs no temperature: a sensor that fell out hides nothing from it.
    """

    name: ClassVar[str] = "power while off"
    __slots__ = ("_own", "_printer", "limits")

    def __init__(self, limits: PowerWhileOffLimits) -> None:
        super().__init__()
        self.limits = limits
        self._printer, self._own = Meter(), Meter()

    def heeds(self, view: HeaterView) -> bool:
        return view.power_w is not None or view.printer_power_w is not None

    def on_reading(self, view: HeaterView) -> Finding | None:
        found = None
        if view.printer_power_w is not None:
            found = self._of_printer(view, self._printer, view.printer_power_w, view.printer_power_at)
        if found is None and view.power_w is not None:
            found = self._of_heater(view, self._own, view.power_w, view.power_at)
        return found

    def _of_printer(self, view: HeaterView, meter: Meter, watts: float, at: float) -> Finding | None:
        limits, heard = self.limits, view.printer_is_heard
        if not view.printer_is_off:
            meter.forget()
            return None
        if not heard and meter.off_since != NEVER:
            meter.forget()
        if heard and meter.off_since == NEVER:
            meter.forget()
            meter.off_since = view.now
        if at == meter.heard_at or (heard and at - meter.off_since < limits.settle_s):
            return None
        above_w = min(limits.above_w, meter.least_w + limits.rise_w)
        high_s = meter.report(at, watts, above_w)
        if heard:
            meter.learn(watts)
        self.near(0.9 * watts / above_w)
        if not high_s >= (_late_s(view) if heard else SILENT_S):
            return None
        said = f"nothing asks {view.printer} for heat" if heard else f"{view.printer} is silent and was off when last heard"
        return self._finding(f"{said}, yet its meter has seen {watts:.0f} W for {high_s:.0f} s", watts, above_w, high_s)

    def _of_heater(self, view: HeaterView, meter: Meter, watts: float, at: float) -> Finding | None:
        above_w = self.limits.own_above_w
        if not view.is_off:
            meter.forget()
            return None
        if meter.off_since == NEVER:
            meter.off_since = view.now
        if at == meter.heard_at or at - meter.off_since < self.limits.settle_s:
            return None
        high_s = meter.report(at, watts, above_w)
        self.near(0.9 * watts / above_w)
        if not high_s >= _late_s(view):
            return None
        return self._finding(f"{view.heater} is off, yet its own meter has seen {watts:.0f} W for {high_s:.0f} s", watts, above_w, high_s)

    def _finding(self, seen: str, watts: float, above_w: float, high_s: float) -> Finding:
        self.headroom = 1.0
        numbers = {"power_w": watts, "above_w": above_w, "high_s": high_s}
        return Finding("cut", f"{seen}; without heat it is no more than {above_w:.0f} W", numbers)

    def snapshot(self) -> JsonObject:
        meters = {"printer": self._printer, "own": self._own}
        return super().snapshot() | {name: {key: to_plain(getattr(one, key)) for key in Meter.STATE} for name, one in meters.items()}

    def restore(self, saved: JsonObject) -> None:
        super().restore(saved)
        for name, meter in (("printer", self._printer), ("own", self._own)):
            for key in Meter.STATE:
                setattr(meter, key, from_plain(saved[name][key]))


def _late_s(view: HeaterView) -> float:
    return max(LATE_S, min(LATE_INTERVALS * view.source.longest_interval_s, LATEST_S))
