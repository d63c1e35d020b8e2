"""Which layers of a bed are no part of one lump: where the sensor does not feel what the other side is at."""

from typing import NamedTuple

from watchdog.thermal.facts import Facts
from watchdog.thermal.lumped import ONE_LUMP_BELOW, biot, conduction_time_s
from watchdog.thermal.materials import FACES, PLATES, Material

SURFACE_W_PER_M2K = 15.0
"""What a warm face loses by convection and radiation together, from 60 to 100 degrees Celsius."""

LATE_FROM_S = 10.0
"""Heat that needs longer through a layer is worth a word."""


class Layer(NamedTuple):
    """A plate or face, in the words of the settings: its Biot number in still air, and the seconds that heat takes through it."""

    name: str
    material: str
    thickness_mm: float
    biot: float
    late_s: float

    @property
    def remark(self) -> str | None:
        """A sentence for the owner, or None where the layer follows its heater closely."""
        layer = f"the {self.name} ({self.thickness_mm:g} mm of {self.material})"
        if self.biot >= ONE_LUMP_BELOW:
            return (
                f"{layer} is not of one temperature (Biot number {self.biot:.2f}, one lump is below {ONE_LUMP_BELOW:g}): "
                "what is expected of this heater is only rough"
            )
        if self.late_s >= LATE_FROM_S:
            return f"{layer} follows its heater about {self.late_s:.0f} s late"
        return None


def layers(facts: Facts) -> tuple[Layer, ...]:
    """Plate and face of a bed, whichever were told; nothing for other heaters."""
    found: list[Layer] = []
    if facts.kind == "bed" and facts.plate_mm:
        material = facts.plate_material or "aluminium"
        found.append(_layer("plate", material, facts.plate_mm, PLATES[material]))
    if facts.kind == "bed" and facts.face_mm and facts.face_material in FACES:
        found.append(_layer("face", facts.face_material, facts.face_mm, FACES[facts.face_material]))
    return tuple(found)


def _layer(name: str, word: str, thickness_mm: float, material: Material) -> Layer:
    depth_m = thickness_mm / 1000.0
    late_s = conduction_time_s(depth_m, material.conductivity, material.density * material.specific_heat)
    return Layer(name, word, thickness_mm, biot(SURFACE_W_PER_M2K, depth_m, material.conductivity), late_s)
