"""What beds and blocks are made of: handbook values, and how they look to infrared.

Density in kg/m3, specific heat in J/(kg K), conductivity in W/(m K), emissivity 0 to 1 as found on a printer. Sources: Incropera and
DeWitt, Fundamentals of Heat and Mass Transfer, table A.1 and A.3 (metals, glass); DIN/ISO 3585 (borosilicate glass); laminate and
rubber data sheets.
"""

from typing import NamedTuple


class Material(NamedTuple):
    """One material near 60 degrees Celsius. `emissivity` is (lowest, usual, highest): bare metal against a coated one."""

    density: float
    specific_heat: float
    conductivity: float
    emissivity: tuple[float, float, float]

    def heat_capacity_j_per_m2k(self, thickness_mm: float) -> float:
        """Heat stored by a sheet, in J per square metre and kelvin."""
        return self.density * self.specific_heat * thickness_mm / 1000.0


COATED = (0.8, 0.9, 0.95)
BARE_OR_COATED = (0.09, 0.85, 0.95)

PLATES: dict[str, Material] = {
    "aluminium": Material(2700.0, 900.0, 160.0, BARE_OR_COATED),
    "steel": Material(7850.0, 475.0, 50.0, (0.2, 0.6, 0.95)),
    "copper": Material(8933.0, 385.0, 400.0, BARE_OR_COATED),
    "glass": Material(2400.0, 850.0, 1.0, COATED),
    "circuit board": Material(1850.0, 950.0, 0.3, COATED),
}
"""By the words that settings use for `plate_material`."""

FACES: dict[str, Material] = {
    "spring steel": Material(7850.0, 480.0, 48.0, (0.2, 0.85, 0.95)),
    "glass": Material(2300.0, 830.0, 1.0, COATED),
    "ceramic": Material(2500.0, 850.0, 1.2, COATED),
    "polymer sheet": Material(1270.0, 1175.0, 0.22, COATED),
    "glass-fibre laminate": Material(1850.0, 950.0, 0.3, COATED),
}
"""By the words that settings use for `face_material`; "none" has no entry."""

SILICONE = Material(1200.0, 1300.0, 0.25, COATED)
"""The rubber of a heater mat."""

ALUMINIUM_J_PER_GK = 0.9
COPPER_J_PER_GK = 0.385
"""The heaviest and the lightest heat capacity a gram of a hotend's block has."""
