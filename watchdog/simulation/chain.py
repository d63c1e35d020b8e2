"""Lumps of heat in a row, each touching the next and losing to the air: the one model behind bed, hotend and chamber.

Stepped by the implicit midpoint rule: the flows are those at the middle of the step, so that what one lump loses the next
one gains and the energy balance closes to rounding; stable at any step, exact to second order.
"""

from dataclasses import dataclass
from math import sqrt

from watchdog.simulation.cloth import Cloth

ZERO_C_IN_K = 273.15
STEFAN_BOLTZMANN = 5.670374419e-8
USUAL_EXPONENT = 0.25
"""Taken the quick way."""


@dataclass(frozen=True, slots=True)
class Loss:
    """How a lump loses heat to the air around it.

    `linear_w_per_k` is still there in a draft; `convection` times |dT| to `exponent` (0, 0.25 or 1/3) is in W/K and grows with
    drafts and fans; `radiation_w_per_k4` is emissivity times area times the Stefan-Boltzmann constant.
    """

    linear_w_per_k: float = 0.0
    convection: float = 0.0
    exponent: float = 0.25
    radiation_w_per_k4: float = 0.0


class Chain:
    """Lumps in a row. `celsius[0]` is the heater; `given_j` and `lost_j` keep the books in joules."""

    __slots__ = ("_diagonal", "_side", "capacity", "celsius", "cloth", "given_j", "link", "loss", "lost_j", "lost_w")

    def __init__(self, capacity: list[float], link: list[float], loss: list[Loss], start_c: float) -> None:
        """Heat capacities in J/K, conductances between neighbours in W/K (one fewer), losses, all starting at `start_c`.

        Raises ValueError when the lengths do not fit or a capacity is not above zero.
        """
        if not len(capacity) == len(loss) == len(link) + 1 or not min(capacity) > 0.0 or not min(link, default=0.0) >= 0.0:
            raise ValueError(f"{len(capacity)} lumps, {len(loss)} losses, {len(link)} links: capacities above 0, one link fewer than lumps")
        self.capacity, self.link, self.loss = capacity, link, loss
        self.celsius = [start_c] * len(capacity)
        self.cloth: Cloth | None = None
        """Something wet on the last lump."""
        self.given_j = self.lost_j = self.lost_w = 0.0
        self._diagonal = [0.0] * len(capacity)
        self._side = [0.0] * len(capacity)

    def add(self, capacity: float, link: float, loss: Loss, start_c: float) -> None:
        """Lay one more lump at the end: a sheet on a bed, a wrench on a nozzle. Its heat counts as given."""
        self.capacity.append(capacity)
        self.link.append(link)
        self.loss.append(loss)
        self.celsius.append(start_c)
        self._diagonal.append(0.0)
        self._side.append(0.0)
        self.given_j += capacity * start_c

    def remove(self) -> None:
        """Take the last lump away with the heat that is in it; counts as lost."""
        self.lost_j += self.capacity[-1] * self.celsius[-1]
        for row in (self.capacity, self.link, self.loss, self.celsius, self._diagonal, self._side):
            row.pop()

    def stored_j(self) -> float:
        """Heat in all lumps, counted from 0 degrees Celsius, in joules."""
        return sum(capacity * celsius for capacity, celsius in zip(self.capacity, self.celsius, strict=True))

    def step(self, dt_s: float, heater_w: float, air_c: float, draft: float = 1.0, heat_w: float = 0.0) -> None:
        """One step of `dt_s` in air of `air_c`; `draft` scales convection.

        `heater_w` goes into the first lump; `heat_w` is what other things give to the second one (the air of a chamber).
        """
        celsius, capacity, link, diagonal, side = self.celsius, self.capacity, self.link, self._diagonal, self._side
        last = len(celsius) - 1
        per_s = 2.0 / dt_s
        before_g = 0.0
        before_side = before_diagonal = 1.0
        losses = self._losses(air_c, draft)
        for i, loses in enumerate(losses):
            now_c = celsius[i]
            after_g = link[i] if i < last else 0.0
            carried = before_g / before_diagonal
            kept = capacity[i] * per_s
            d = kept + before_g + after_g + loses - carried * before_g
            r = kept * now_c + loses * air_c + carried * before_side
            if i == 0:
                r += heater_w
            elif i == 1:
                r += heat_w
            diagonal[i], side[i] = d, r
            before_g, before_side, before_diagonal = after_g, r, d
        lost_w = middle_c = 0.0
        for i in range(last, -1, -1):
            middle_c = (side[i] + (link[i] * middle_c if i < last else 0.0)) / diagonal[i]
            celsius[i] += 2.0 * (middle_c - celsius[i])
            lost_w += losses[i] * (middle_c - air_c)
            if i == last and self.cloth is not None:
                self.cloth.dry(dt_s, middle_c - air_c)
        self.lost_w = lost_w
        self.lost_j += lost_w * dt_s
        self.given_j += (heater_w + heat_w) * dt_s

    def _losses(self, air_c: float, draft: float) -> list[float]:
        """What each lump loses now, in W per kelvin over the air."""
        air_k = air_c + ZERO_C_IN_K
        air_k2 = air_k * air_k
        losses: list[float] = []
        over_k = 0.0
        for loss, now_c in zip(self.loss, self.celsius, strict=True):
            over_k = now_c - air_c if now_c > air_c else air_c - now_c
            power = sqrt(sqrt(over_k)) if loss.exponent == USUAL_EXPONENT else over_k**loss.exponent
            kelvin = now_c + ZERO_C_IN_K
            loses = loss.linear_w_per_k + draft * loss.convection * power
            losses.append(loses + loss.radiation_w_per_k4 * (kelvin * kelvin + air_k2) * (kelvin + air_k))
        if self.cloth is not None:
            losses[-1] += self.cloth.loss_w_per_k(over_k)
        return losses
