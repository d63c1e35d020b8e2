"""What an owner knows of a pretend printer, and how the true one differs from it."""

from dataclasses import dataclass, field
from typing import Literal

HeaterKind = Literal["bed", "hotend", "chamber"]
Supply = Literal["mains", "12 V DC", "24 V DC", "48 V DC"]
SwitchKind = Literal["printer board", "MOSFET module", "solid-state relay"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaterFacts:
    """One heater as its owner would describe it: the same names and units as in the settings. None is "not said".

    `plate_mm` None on a bed is a face clamped straight onto the heater mat.
    """

    kind: HeaterKind
    rated_w: float
    normal_max_c: float
    harm_c: float
    supply: Supply = "24 V DC"
    switch: SwitchKind = "printer board"
    width_mm: float | None = None
    depth_mm: float | None = None
    plate_mm: float | None = None
    plate_material: str | None = None
    face_mm: float | None = None
    face_material: str | None = None
    block_g: float | None = None

    def told(self) -> dict[str, float | str]:
        """What stands in the settings of this heater, without what was not said."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {name: value for name, value in values.items() if value is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueHeater:
    """How the real heater differs from its facts. Factors are 1 for "as described"; contacts in W/(m2 K), of a hotend in W/K."""

    power_factor: float = 1.0
    power_per_k: float = 0.0
    """How much its resistance grows per kelvin: near 0 for mats and cartridges, 0.0039 for the copper tracks of a board."""
    mass_factor: float = 1.0
    loss_factor: float = 1.0
    underside: float = 0.5
    """Share of a bare underside's loss that insulation leaves: 1 is bare, 0.1 is thick foam."""
    emissivity_factor: float = 1.0
    mat_contact: float = 350.0
    face_contact: float = 250.0
    block_loss_w_per_k: float = 0.08
    cartridge_contact_w_per_k: float = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """A box around the printer. `air_j_per_k` counts what follows the air at once; the walls lose to the room."""

    air_j_per_k: float = 400.0
    wall_j_per_k: float = 9000.0
    inside_w_per_k: float = 9.0
    outside_w_per_k: float = 4.0
    leak_w_per_k: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterFacts:
    """A printer: its heaters by name and what else draws power."""

    name: str
    heaters: dict[str, HeaterFacts]
    true: dict[str, TrueHeater] = field(default_factory=dict)
    enclosure: Enclosure | None = None
    parked_coupling: float = 0.15
    """How much of the bed's excess over the air a hotend close above it feels as its own surroundings, 0 to 1."""
    standby_w: float = 8.0
    fans_w: float = 6.0
    lights_w: float = 5.0
