"""The target itself is above what this heater may see."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import INFINITY, NEVER
from watchdog.core.view import HeaterView


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandedTooHotLimits:
    """Limits of the commanded-too-hot check."""

    above_c: float
    """A target above this, in degrees Celsius, is asked for by mistake; a target exactly at it is still allowed."""

    confirm_s: float
    """How long such a target must stand, in seconds: a slip that is corrected at once does nothing."""


class CommandedTooHot(Check):
    """Cuts when a target above `above_c` has stood for `confirm_s`: before the heater gets there.

    A target that is unknown, or only kept by the broker from another time, asks for nothing.
    """

    name: ClassVar[str] = "commanded too hot"
    STATE: ClassVar[tuple[str, ...]] = ("_since",)
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: CommandedTooHotLimits) -> None:
        super().__init__()
        self.limits = limits
        self._since = NEVER

    def on_reading(self, view: HeaterView) -> Finding | None:
        target_c = view.target_c
        if target_c is None or target_c <= self.limits.above_c or view.target_at == NEVER:
            self._since, self.deadline = NEVER, INFINITY
            if target_c is not None and target_c > 0.0:
                self.near(0.9 * target_c / self.limits.above_c)
            return None
        if self._since == NEVER:
            self._since = view.now
            self.deadline = view.now + self.limits.confirm_s
        self.near(0.95)
        return self._finding(view, target_c) if view.now - self._since >= self.limits.confirm_s else None

    def on_deadline(self, view: HeaterView) -> Finding | None:
        self.deadline = INFINITY
        return None if view.target_c is None else self._finding(view, view.target_c)

    def _finding(self, view: HeaterView, target_c: float) -> Finding:
        self.deadline = INFINITY
        self.headroom = 1.0
        lasted_s = view.now - self._since
        return Finding(
            "cut",
            f"{view.heater} has been asked for {target_c:.1f} degC for {lasted_s:.1f} s; "
            f"no more than {self.limits.above_c:.1f} degC is allowed",
            {"target_c": target_c, "above_c": self.limits.above_c, "lasted_s": lasted_s},
        )
