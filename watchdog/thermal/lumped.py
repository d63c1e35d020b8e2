"""One lump of heat by itself: rises, times, lags, and whether a body is one lump at all. Temperatures in degrees Celsius.

Sources: Incropera and DeWitt, chapter 5; Cengel, chapter 4; Bejan, Heat Transfer Handbook, 3.286 (a coefficient that falls with
the excess).
"""

from dataclasses import dataclass
from math import exp, inf, log
from typing import Protocol

ONE_LUMP_BELOW = 0.1
"""Below this Biot number a body is one lump to within 5 % (Incropera, 5.10)."""

STEPS = 400
HALVINGS = 60


class Of(Protocol):
    """Something of a temperature in degrees Celsius: a rate in kelvin a second, or watts."""

    def __call__(self, celsius: float, /) -> float: ...


def adiabatic_rise_k_per_s(power_w: float, heat_capacity_j_per_k: float) -> float:
    """The rise of a lump that loses nothing."""
    return power_w / heat_capacity_j_per_k


def biot(coefficient_w_per_m2k: float, depth_m: float, conductivity_w_per_mk: float) -> float:
    """The Biot number: resistance inside a body over that at its surface. `depth_m` is volume over surface, of a sheet its thickness."""
    return coefficient_w_per_m2k * depth_m / conductivity_w_per_mk


def conduction_time_s(depth_m: float, conductivity_w_per_mk: float, heat_capacity_j_per_m3k: float) -> float:
    """How long heat takes through a layer: depth squared over diffusivity."""
    return depth_m * depth_m * heat_capacity_j_per_m3k / conductivity_w_per_mk


def spread_rise_k(hot_j_per_k: float, hotter_k: float, rest_j_per_k: float) -> float:
    """How far the rest rises once a part that is `hotter_k` hotter has shared its heat with it."""
    return hot_j_per_k * hotter_k / (hot_j_per_k + rest_j_per_k)


def ramp_lag_k(rate_k_per_s: float, time_constant_s: float, for_s: float = inf) -> float:
    """How far a sensor of the first order is behind what it sits on, `for_s` after that began to rise."""
    return rate_k_per_s * time_constant_s * (1.0 - exp(-for_s / time_constant_s))


def remaining_k(excess_k: float, per_s: float, exponent: float, after_s: float) -> float:
    """What is left of `excess_k` over the air after `after_s` without heat, where losses go with the excess to 1 + `exponent`.

    `per_s` is coefficient times area over heat capacity at the start. Exponent 0 is a constant coefficient, 0.25 still air.
    """
    if exponent == 0.0:
        return excess_k * exp(-per_s * after_s)
    return float(excess_k * (1.0 + exponent * per_s * after_s) ** (-1.0 / exponent))


@dataclass(frozen=True, slots=True)
class LinearLump:
    """A lump under constant power with a loss in proportion to its excess: watts, W/K, J/K, and the air around it."""

    power_w: float
    loss_w_per_k: float
    heat_capacity_j_per_k: float
    air_c: float

    @property
    def time_constant_s(self) -> float:
        return self.heat_capacity_j_per_k / self.loss_w_per_k

    @property
    def steady_c(self) -> float:
        """Where it ends."""
        return self.air_c + self.power_w / self.loss_w_per_k

    def temperature_c(self, from_c: float, after_s: float) -> float:
        return self.steady_c + (from_c - self.steady_c) * exp(-after_s / self.time_constant_s)

    def time_s(self, from_c: float, to_c: float) -> float:
        """From one temperature to another on the way to where it ends; infinite where it never comes by, 0 where it is there."""
        if from_c == to_c:
            return 0.0
        left, ahead = self.steady_c - to_c, self.steady_c - from_c
        on_the_way = left * ahead > 0.0 and abs(left) < abs(ahead)
        return -self.time_constant_s * log(left / ahead) if on_the_way else inf


def time_between_s(from_c: float, to_c: float, rate: Of) -> float:
    """From one temperature to another at a rate that depends on the temperature; infinite where it never arrives.

    The midpoint rule over temperature: the sum of dT over rate.
    """
    if from_c == to_c:
        return 0.0
    step_k = (to_c - from_c) / STEPS
    if not rate(to_c) * step_k > 0.0:
        return inf
    total_s = 0.0
    for number in range(STEPS):
        now = rate(from_c + (number + 0.5) * step_k)
        if not now * step_k > 0.0:
            return inf
        total_s += step_k / now
    return total_s


def settles_c(lowest_c: float, highest_c: float, power_w: Of, loss_w: Of) -> float:
    """Where power and loss are equal, by halving; one of the ends where they never are."""
    low, high = lowest_c, highest_c
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if power_w(middle) > loss_w(middle) else (low, middle)
    return 0.5 * (low + high)
