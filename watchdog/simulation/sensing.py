"""A temperature sensor: where it sits, how well, how it lags, and what its electronics make of it."""

from dataclasses import dataclass, replace
from math import exp
from random import Random
from typing import Literal

Unit = Literal["C", "F"]

AIR_TAU_S = 35.0
"""Time constant of a bare sensor in still air."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """A sensor by its facts: lag in seconds, noise (one standard deviation), resolution and offset in kelvin."""

    tau_s: float = 2.0
    noise_k: float = 0.05
    resolution_k: float = 0.01
    offset_k: float = 0.0
    gain: float = 1.0
    """What it shows per kelvin over 25 degrees Celsius; a wrong sensor table is off by some per cent."""
    unit: Unit = "C"
    node: int | None = None
    """Which lump it sits on; None is the usual one for the kind of heater."""


class Sensor:
    """One sensor at work. `seat` is its contact: 1 as built, 0 fallen out, between: partly loose."""

    __slots__ = ("_carry", "_dice", "_dt_s", "_weight", "celsius", "drift_k", "forced_c", "frozen", "node", "seat", "shown_c", "spec")

    def __init__(self, spec: SensorSpec, node: int, start_c: float, dice: Random) -> None:
        self.spec, self.node, self._dice = spec, node, dice
        self.celsius = start_c
        self.shown_c = start_c
        self.seat = 1.0
        self.drift_k = 0.0
        self.forced_c: float | None = None
        """What an open or shorted wire shows instead."""
        self.frozen = False
        self._dt_s = 0.0
        self._weight = self._carry = 0.0

    def reseat(self, seat: float) -> None:
        """Another contact from now on, 0 to 1. Raises ValueError outside of it."""
        if not 0.0 <= seat <= 1.0:
            raise ValueError(f"the seat of a sensor is {seat}, allowed is 0 (fallen out) to 1 (as built)")
        self.seat = seat
        self._dt_s = 0.0

    def step(self, dt_s: float, node_c: float, air_c: float) -> None:
        """`dt_s` later, on a lump of `node_c` in air of `air_c`: exact for a lump that stands still in the step."""
        if dt_s != self._dt_s:
            self._prepare(dt_s)
        sees_c = node_c + self._weight * (air_c - node_c)
        self.celsius = sees_c + (self.celsius - sees_c) * self._carry
        if self.frozen:
            return
        if self.forced_c is not None:
            self.shown_c = self.forced_c
            return
        shown_c = self.celsius
        spec = self.spec
        if spec.gain != 1.0:
            shown_c = 25.0 + spec.gain * (shown_c - 25.0)
        noise_k = spec.noise_k
        self.shown_c = shown_c + spec.offset_k + self.drift_k + (self._dice.gauss(0.0, noise_k) if noise_k else 0.0)

    def reported(self) -> float:
        """What is said in numbers: in its unit and at its resolution."""
        spec = self.spec
        value = self.shown_c if spec.unit == "C" else self.shown_c * 1.8 + 32.0
        if spec.resolution_k:
            return round(round(value / spec.resolution_k) * spec.resolution_k, 4)
        return value

    def change(self, **values: float | str | None) -> None:
        """Another spec from now on, as after an update of the printer's software."""
        self.spec = replace(self.spec, **values)  # type: ignore[arg-type]  # names and types are SensorSpec's

    def _prepare(self, dt_s: float) -> None:
        """Two conductances of the sensor's own small lump: to its seat and to the air."""
        to_node, to_air = self.seat / max(self.spec.tau_s, 1e-3), (1.0 - self.seat) / AIR_TAU_S
        self._dt_s = dt_s
        self._weight = to_air / (to_node + to_air)
        self._carry = exp(-dt_s * (to_node + to_air))
