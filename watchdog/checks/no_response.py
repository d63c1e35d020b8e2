"""Much heat is asked for, and the reading does not rise."""

from dataclasses import dataclass

from watchdog.core.check import Check, Finding, HeaterView
from watchdog.core.values import INFINITY, NEVER, STRICT


@dataclass(frozen=True, slots=True, kw_only=True)
class NoResponseLimits:
    """Limits of the no-response check."""

    __pydantic_config__ = STRICT

    gap_k: float
    """Much heat is asked for when the reading is this far below its target, in kelvin."""

    duty: float
    """And when the duty, where it is told, is at least this share of full power."""

    below_c: float
    """Above this, in degrees Celsius, a weak heater may rise too slowly to judge by its class alone."""

    rise_k: float
    """The rise, in kelvin, that the weakest heater of its class makes in `within_s`."""

    within_s: float
    """Within this time, in seconds, it must rise by `rise_k`."""


class NoResponse(Check):
    """Cuts when full or heavy heating is asked for and the reading does not rise as any heater of its class must.

    A sensor that came loose, a broken heater, a switch that fails open: the controller goes on asking. Judged only well below
    the target and where even a weak bed still rises; a draft, a fan or a cold plate put on may hold it for a while.
    """

    name = "no response"
    STATE = ("_mark_c", "_mark_at")

    def __init__(self, limits: NoResponseLimits) -> None:
        super().__init__()
        self.limits = limits
        self._mark_c = 0.0
        self._mark_at = NEVER

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if not view.fresh or view.sensor or temperature_c is None:
            return None
        if not self._much_is_asked(view, temperature_c):
            self._mark_at = NEVER
            return None
        now = view.now
        before_c = temperature_c if view.previous_c is None else view.previous_c
        low_c = min(temperature_c, before_c)
        if self._mark_at == NEVER or low_c >= self._mark_c + self.limits.rise_k:
            self._mark_c, self._mark_at = low_c, now
            return None
        waited_s = now - self._mark_at
        self.near(waited_s / self.limits.within_s)
        if not waited_s >= self.limits.within_s:
            return None
        self.headroom = 1.0
        return Finding(
            "cut",
            f"{view.heater} is asked for {view.target_c:.0f} degC, yet rose only {temperature_c - self._mark_c:.1f} K in {waited_s:.0f} s "
            f"(to {temperature_c:.1f} degC)",
            {"temperature_c": temperature_c, "risen_k": temperature_c - self._mark_c, "waited_s": waited_s, "rise_k": self.limits.rise_k},
        )

    def _much_is_asked(self, view: HeaterView, temperature_c: float) -> bool:
        target_c, limits = view.target_c, self.limits
        if target_c is None or target_c <= 0.0 or target_c - temperature_c < limits.gap_k or temperature_c > limits.below_c:
            return False  # commanded off, however cold it is, asks for nothing
        return view.duty is None or view.duty >= limits.duty

    def on_deadline(self, view: HeaterView) -> Finding | None:  # noqa: ARG002 - silence is the matter of another check
        self.deadline = INFINITY
        return None
