"""The meter sees power while nothing asks for heat."""

from dataclasses import dataclass

from watchdog.core.check import Check, Finding, HeaterView
from watchdog.core.values import INFINITY, NEVER, STRICT


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerWhileOffLimits:
    """Limits of the power-while-off check."""

    __pydantic_config__ = STRICT

    above_w: float
    """More than this, in watts, the whole printer does not draw for its board, fans and lights."""

    rise_w: float
    """And no more than this, in watts, above the least that it drew while nothing was asked for."""

    own_above_w: float
    """More than this, in watts, a meter of the heater alone does not show while it is off."""

    settle_s: float
    """How long after heat was last asked for a slow meter may still tell of it, in seconds."""


class PowerWhileOff(Check):
    """Cuts when two reports of a power meter in a row say that heat is being made while nothing asks for any.

    The printer's meter counts only while every heater of the printer is known to be off, a meter of the heater alone while that one is. A
    target that is unknown is not off, unless the duty is told as 0. It needs no temperature: a sensor that fell out hides nothing from it.
    """

    name = "power while off"
    STATE = ("_quiet_since", "_own_since", "_heard_at", "_own_heard_at", "_count", "_own_count", "_least_w")

    def __init__(self, limits: PowerWhileOffLimits) -> None:
        super().__init__()
        self.limits = limits
        self._quiet_since = self._own_since = self._heard_at = self._own_heard_at = NEVER
        self._count = self._own_count = 0
        self._least_w = INFINITY

    def on_reading(self, view: HeaterView) -> Finding | None:
        found = self._whole(view)
        return found or self._own(view)

    def _whole(self, view: HeaterView) -> Finding | None:
        watts, at = view.printer_power_w, view.printer_power_at
        if watts is None:
            return None
        if not view.printer_is_off:
            self._quiet_since, self._count = NEVER, 0
            return None
        if self._quiet_since == NEVER:
            self._quiet_since = view.now
        if at == self._heard_at or at - self._quiet_since < self.limits.settle_s:
            return None
        self._heard_at = at
        above_w = min(self.limits.above_w, self._least_w + self.limits.rise_w)
        self._count = self._count + 1 if watts > above_w else 0
        self._least_w = min(self._least_w, watts)
        self.near(0.9 * watts / above_w)
        return self._finding(view, watts, above_w, "the printer draws", at - self._quiet_since) if self._count > 1 else None

    def _own(self, view: HeaterView) -> Finding | None:
        watts, at = view.power_w, view.power_at
        if watts is None:
            return None
        if not view.is_off:
            self._own_since, self._own_count = NEVER, 0
            return None
        if self._own_since == NEVER:
            self._own_since = view.now
        if at == self._own_heard_at or at - self._own_since < self.limits.settle_s:
            return None
        self._own_heard_at = at
        self._own_count = self._own_count + 1 if watts > self.limits.own_above_w else 0
        self.near(0.9 * watts / self.limits.own_above_w)
        return self._finding(view, watts, self.limits.own_above_w, "it draws", at - self._own_since) if self._own_count > 1 else None

    def _finding(self, view: HeaterView, watts: float, above_w: float, who: str, off_s: float) -> Finding:
        self.headroom = 1.0
        return Finding(
            "cut",
            f"{view.heater} is off for {off_s:.0f} s, yet {who} {watts:.0f} W; without heat it is no more than {above_w:.0f} W",
            {"power_w": watts, "above_w": above_w, "off_s": off_s},
        )

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - silence is the matter of another check
        self.deadline = INFINITY
        return None
