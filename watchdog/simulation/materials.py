"""What pretend beds are made of. The plant has figures of its own, so that it does not agree with the expectations by descent.

Density in kg/m3, specific heat in J/(kg K), conductivity in W/(m K), emissivity as found on a printer (anodised, coated,
glazed). Common handbook values; a scenario's true printer differs from them by some per cent.
"""

from typing import NamedTuple


class Material(NamedTuple):
    """One material near 60 degrees Celsius."""

    density: float
    specific_heat: float
    conductivity: float
    emissivity: float

    def heat_capacity_j_per_m2k(self, thickness_mm: float) -> float:
        """Heat stored by a sheet, in J per square metre and kelvin."""
        return self.density * self.specific_heat * thickness_mm / 1000.0

    def conductance_w_per_m2k(self, thickness_mm: float) -> float:
        """Heat led through a sheet, in W per square metre and kelvin."""
        return self.conductivity * 1000.0 / thickness_mm


PLATES: dict[str, Material] = {
    "aluminium": Material(2700.0, 896.0, 160.0, 0.85),
    "steel": Material(7850.0, 470.0, 50.0, 0.6),
    "copper": Material(8933.0, 385.0, 390.0, 0.6),
    "glass": Material(2500.0, 850.0, 1.0, 0.88),
    "circuit board": Material(1850.0, 950.0, 0.3, 0.9),
}
"""By the words that settings use for `plate_material`."""

FACES: dict[str, Material] = {
    "spring steel": Material(7850.0, 480.0, 48.0, 0.85),
    "glass": Material(2230.0, 830.0, 1.15, 0.88),
    "ceramic": Material(2500.0, 850.0, 1.4, 0.9),
    "polymer sheet": Material(1270.0, 1150.0, 0.22, 0.9),
    "glass-fibre laminate": Material(1850.0, 950.0, 0.3, 0.9),
}
"""By the words that settings use for `face_material`; "none" has no entry."""

SILICONE = Material(1200.0, 1300.0, 0.25, 0.9)
ALUMINIUM_J_PER_GK = 0.9
BRASS_J_PER_GK = 0.38
