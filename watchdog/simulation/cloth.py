"""Something wet on a hot surface."""

LATENT_J_PER_G = 2350.0
"""Heat of evaporation of water between 40 and 80 degrees Celsius (handbook: 2407 to 2308)."""

EVAPORATION_W_PER_M2K2 = 1.0
"""Heat drawn per square metre, per kelvin above the air, per kelvin again.

From the film of saturated air over warm water (Lewis relation at h = 7 W/m2K): 1.6 kW/m2 at 40 K above a room of 20 degrees
Celsius, 5 to 6 kW/m2 at 70 K: close enough to a square law for a cloth.
"""


class Cloth:
    """Water that draws heat until it is gone."""

    __slots__ = ("_drawn_w_per_k", "_per_k2", "water_j")

    def __init__(self, area_m2: float, water_g: float) -> None:
        self._per_k2 = EVAPORATION_W_PER_M2K2 * area_m2
        self._drawn_w_per_k = 0.0
        self.water_j = LATENT_J_PER_G * water_g

    def loss_w_per_k(self, over_k: float) -> float:
        """What it adds to the loss at `over_k` above the air."""
        self._drawn_w_per_k = self._per_k2 * over_k if self.water_j > 0.0 else 0.0
        return self._drawn_w_per_k

    def dry(self, dt_s: float, over_k: float) -> None:
        """So much less water after a step."""
        self.water_j -= max(0.0, self._drawn_w_per_k * over_k * dt_s)
