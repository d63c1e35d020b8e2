"""A hotend by its facts: heat capacities and losses, with how wrong they may be."""

from dataclasses import dataclass

from watchdog.thermal.air import radiation_w_per_m2
from watchdog.thermal.facts import Facts, Range
from watchdog.thermal.lumped import spread_rise_k
from watchdog.thermal.materials import ALUMINIUM_J_PER_GK, COPPER_J_PER_GK

BLOCK_G_PER_CM3 = Range(8.9, 2.7, 2.7)
"""In the order of their losses: a block of copper is smaller."""

CARTRIDGE_AND_NOZZLE_J_PER_K = Range(0.0, 5.0, 12.0)
HEAT_BREAK_W_PER_K = Range(0.03, 0.08, 0.12)
SURFACE_W_PER_M2K = Range(3.0, 12.0, 25.0)
"""A small block under a rubber sock, bare, and in the wind of a part fan."""

EMISSIVITY = Range(0.1, 0.5, 0.9)
MELT_W = Range(0.0, 0.0, 12.0)
"""Melting plastic at 25 mm3/s takes so much (1.2 mg/mm3, 2 J/(g K), 200 K: 12 W), and it melts only when hot."""

MELTS_FROM_C = 150.0
CARTRIDGE_FIT_W_PER_K = 2.5
"""A loose one."""


@dataclass(frozen=True, slots=True)
class Hotend:
    """Block, cartridge and nozzle. Heat capacity in J/K, area of the block in m2."""

    capacity_j_per_k: Range
    area_m2: Range

    def loss_w(self, celsius: float, air_c: float) -> Range:
        """What it loses at `celsius` in air of `air_c`, in watts; negative where the air is warmer."""
        return Range(*(self._loss_w(celsius, air_c, number) for number in range(3)))

    def _loss_w(self, celsius: float, air_c: float, number: int) -> float:
        over_k = celsius - air_c
        surface = SURFACE_W_PER_M2K[number] * over_k + radiation_w_per_m2(celsius, air_c, EMISSIVITY[number])
        melt_w = MELT_W[number] if celsius >= MELTS_FROM_C else 0.0
        return HEAT_BREAK_W_PER_K[number] * over_k + self.area_m2[number] * surface + melt_w

    def stored_rise_k(self, power_w: float) -> float:
        """The cartridge is hotter than the block by its power over its fit; that heat spreads."""
        cartridge_j_per_k = CARTRIDGE_AND_NOZZLE_J_PER_K.usual
        return spread_rise_k(cartridge_j_per_k, power_w / CARTRIDGE_FIT_W_PER_K, self.capacity_j_per_k.usual - cartridge_j_per_k)


def hotend(facts: Facts) -> Hotend | None:
    """None where the mass of its block is not said."""
    if not facts.block_g:
        return None
    capacity = Range(
        facts.block_g * COPPER_J_PER_GK,
        facts.block_g * ALUMINIUM_J_PER_GK + CARTRIDGE_AND_NOZZLE_J_PER_K.usual,
        facts.block_g * ALUMINIUM_J_PER_GK + CARTRIDGE_AND_NOZZLE_J_PER_K.most,
    )
    sides_m = [(facts.block_g / density) ** (1.0 / 3.0) / 100.0 for density in BLOCK_G_PER_CM3]
    return Hotend(capacity, Range(*(6.0 * side_m * side_m for side_m in sides_m)))
