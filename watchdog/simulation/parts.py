"""How the parts of a scenario are described: control and sensors of a heater, the room, what is said over the wire."""

from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Literal

from watchdog.simulation.sensing import SensorSpec

Control = Literal["two-point", "well tuned", "badly tuned"]
Schedule = tuple[tuple[float, float], ...]
"""Pairs of (seconds, target in degrees Celsius), in time order; 0 is off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaterSetup:
    """What drives a heater and what watches it. The sensor without a name is the controller's own."""

    schedule: Schedule = ()
    control: Control = "well tuned"
    sensors: dict[str, SensorSpec] = field(default_factory=lambda: {"": SensorSpec()})
    start_c: float | None = None
    """Its temperature at the start; None is that of the room."""


@dataclass(frozen=True, slots=True)
class Room:
    """The air around the printer: (seconds, degrees Celsius) in time order, straight lines between, flat beyond."""

    points: tuple[tuple[float, float], ...] = ((0.0, 22.0),)

    def at(self, at_s: float) -> float:
        """Room temperature in degrees Celsius."""
        points = self.points
        after = bisect_right(points, (at_s, float("inf")))
        if after == 0:
            return points[0][1]
        from_s, from_c = points[after - 1]
        if after == len(points):
            return from_c
        to_s, to_c = points[after]
        return from_c + (to_c - from_c) * (at_s - from_s) / (to_s - from_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterSpec:
    """A power meter of the whole printer: how often it speaks, how slowly it follows, in seconds; its steps in watts."""

    period_s: float = 10.0
    lag_s: float = 1.0
    resolution_w: float = 0.5
    noise_w: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Telemetry:
    """What is reported and how. Shares are of all messages, 0 to 1.

    `on_change_k` None reports every `period_s`; else the period is how often it looks, and it speaks when the reading has moved
    so far or the target has changed. `heartbeat_s` is then the longest silence: the same values once more, or, with `presence`,
    a sign of life of the source.
    """

    period_s: float = 1.0
    jitter_s: float = 0.02
    reports_target: bool = True
    reports_duty: bool = True
    on_change_k: float | None = None
    heartbeat_s: float = 60.0
    presence: bool = False
    target_late_s: float = 0.0
    """So much later than it acted does a target arrive."""
    duplicates: float = 0.0
    nulls: float = 0.0
    glitches: float = 0.0
    glitch_c: tuple[float, ...] = (0.0, 999.0, -50.0, 850.0)
    retained: tuple[float, float] | None = None
    """Temperature and target that the broker kept from another time."""
    meter: MeterSpec | None = None

    @property
    def longest_interval_s(self) -> float:
        """What its owner may call the longest healthy silence, in seconds."""
        return 2.0 * self.period_s if self.on_change_k is None else self.heartbeat_s + 2.0 * self.period_s
