"""A bed by its facts: heat capacities and losses, with how wrong they may be."""

from dataclasses import dataclass

from watchdog.thermal.air import convection_w_per_m2k, radiation_w_per_m2
from watchdog.thermal.facts import Facts, Range
from watchdog.thermal.lumped import spread_rise_k
from watchdog.thermal.materials import FACES, PLATES, SILICONE

MAT_MM = 1.5
MAT_CONTACT_W_PER_M2K = 300.0
"""A bonded mat; one that is only pressed on is hotter still."""

TRACKS_MM = 0.4
TRACKS_CONTACT_W_PER_M2K = 1500.0
"""Copper and resin that heat up first in a circuit board that is its own heater."""

SPREAD = Range(0.75, 1.0, 1.25)
"""So far published correlations for horizontal plates lie apart."""

DRAFT = Range(1.0, 1.0, 1.5)
"""A draft or a part fan raises convection on the face so many times."""

UNDERSIDE = Range(0.1, 0.5, 1.0)
"""Share of a bare underside's loss that insulation leaves: thick foam, a thin layer, none."""

COLD_FACE_MM, LIGHTER = 4.0, 0.8
"""The heaviest face that people lay on, and how much lighter than told the rest may be."""


@dataclass(frozen=True, slots=True)
class Bed:
    """Heater mat (or the tracks of a board), plate, face. Heat capacities in J/K, area in m2, `length_m` is area over perimeter."""

    area_m2: float
    length_m: float
    mat_j_per_k: float
    mat_contact_w_per_m2k: float
    plate_j_per_k: float
    face_j_per_k: float
    emissivity: tuple[float, float, float]

    @property
    def capacity_j_per_k(self) -> Range:
        """The least is that of what the sensor sits on alone."""
        own = self.plate_j_per_k or self.face_j_per_k
        everything = self.mat_j_per_k + self.plate_j_per_k + self.face_j_per_k
        return Range(own, everything, everything)

    def loss_w(self, celsius: float, air_c: float) -> Range:
        """What all faces lose at `celsius` in air of `air_c`, in watts; negative where the air is warmer."""
        over_k = celsius - air_c
        top = convection_w_per_m2k(celsius, air_c, self.length_m, up=True) * over_k
        under = convection_w_per_m2k(celsius, air_c, self.length_m, up=False) * over_k
        radiated = radiation_w_per_m2(celsius, air_c, 1.0)

        def loses_w(number: int) -> float:
            above = top * SPREAD[number] * DRAFT[number] + radiated * self.emissivity[number]
            below = under * SPREAD[number] + radiated * SILICONE.emissivity[number]
            return self.area_m2 * (above + UNDERSIDE[number] * below)

        return Range(*map(loses_w, range(3)))

    @property
    def cold_share(self) -> float:
        """The share of its excess over the room that the heaviest cold face takes from it: two bodies that share their heat.

        Plate and mat alone, the plate lighter than told.
        """
        cold = self.area_m2 * FACES["glass"].heat_capacity_j_per_m2k(COLD_FACE_MM)
        return cold / (cold + LIGHTER * (self.mat_j_per_k + (self.plate_j_per_k or self.face_j_per_k)))

    def stored_rise_k(self, power_w: float) -> float:
        """How far heat stored in the mat still lifts the plate after switch-off, in kelvin, without losses.

        At full power the mat is hotter than the plate by flux over contact; that heat spreads over both.
        """
        hotter_k = power_w / (self.mat_contact_w_per_m2k * self.area_m2)
        return spread_rise_k(self.mat_j_per_k, hotter_k, self.plate_j_per_k or self.face_j_per_k)


def bed(facts: Facts) -> Bed | None:
    """None where its size is not said, or neither plate nor face."""
    if not facts.width_mm or not facts.depth_mm:
        return None
    area = facts.width_mm * facts.depth_mm / 1e6
    length_m = area / (2.0 * (facts.width_mm + facts.depth_mm) / 1000.0)
    board = facts.plate_material == "circuit board"
    tracks_mm = min(TRACKS_MM, 0.5 * (facts.plate_mm or 0.0)) if board else 0.0
    mat = area * (PLATES["circuit board"].heat_capacity_j_per_m2k(tracks_mm) if board else SILICONE.heat_capacity_j_per_m2k(MAT_MM))
    contact = TRACKS_CONTACT_W_PER_M2K if board else MAT_CONTACT_W_PER_M2K
    plate = face = 0.0
    emissivity = SILICONE.emissivity
    if facts.plate_mm:
        material = PLATES[facts.plate_material or "aluminium"]
        plate, emissivity = area * material.heat_capacity_j_per_m2k(facts.plate_mm - tracks_mm), material.emissivity
    if facts.face_mm and facts.face_material in FACES:
        material = FACES[facts.face_material]
        face, emissivity = area * material.heat_capacity_j_per_m2k(facts.face_mm), material.emissivity
    return Bed(area, length_m, mat, contact, plate, face, emissivity) if plate or face else None
