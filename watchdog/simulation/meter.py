"""A power meter of the whole printer: slow, coarse, and a device of its own."""

from math import exp
from random import Random

from watchdog.core.inputs import Reading
from watchdog.simulation.parts import MeterSpec


class Meter:
    """Follows what the printer draws and tells it now and then, in watts."""

    __slots__ = ("_dice", "_printer", "_spec", "closed_until_s", "due_s", "watts")

    def __init__(self, printer: str, spec: MeterSpec, dice: Random) -> None:
        self._printer, self._spec, self._dice = printer, spec, dice
        self.due_s = dice.random() * spec.period_s
        self.watts = 0.0
        self.closed_until_s = float("-inf")

    def follow(self, dt_s: float, wall_w: float) -> None:
        """`dt_s` more at `wall_w`."""
        lag_s = self._spec.lag_s
        self.watts += (wall_w - self.watts) * (1.0 - exp(-dt_s / lag_s) if lag_s > 0.0 else 1.0)

    def speak(self, at_s: float) -> list[Reading]:
        """What it says at `at_s`, when it is due."""
        spec = self._spec
        self.due_s += spec.period_s
        if at_s < self.closed_until_s:
            return []
        watts = max(0.0, self.watts + (self._dice.gauss(0.0, spec.noise_w) if self.watts > 1.0 else 0.0))
        watts = round(round(watts / spec.resolution_w) * spec.resolution_w, 3)
        return [Reading(self._printer, "", at_s, None, None, None, watts)]
