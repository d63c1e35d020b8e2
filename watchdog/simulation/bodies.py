"""From facts to lumps: beds, hotends, chambers."""

from copy import deepcopy
from math import sqrt

from watchdog.simulation.chain import STEFAN_BOLTZMANN, Chain, Loss
from watchdog.simulation.facts import Enclosure, HeaterFacts, TrueHeater
from watchdog.simulation.materials import ALUMINIUM_J_PER_GK, BRASS_J_PER_GK, FACES, PLATES, SILICONE

TOP_W_PER_K125 = 1.35
"""Natural convection over a warm plate facing up: h = 1.35 (dT / L)^0.25 W/m2K, L = area over perimeter in metres."""

UNDER_W_PER_K125 = 0.675
"""The same facing down: half of it."""

MAT_MM = 1.5
TRACKS_MM = 0.4
"""Copper and resin that heat up first in a circuit board that is its own heater."""

NOZZLE_G = 4.0
CARTRIDGE_J_PER_K = 3.5
NOZZLE_LINK_W_PER_K = 2.0
BLOCK_DENSITY_G_PER_CM3 = 2.7
ELEMENT_J_PER_K = 250.0
ELEMENT_LINK_W_PER_K = 8.0
DEFAULT_BLOCK_G = 20.0
STEADY_STEP_S = 40.0
STEADY_STEPS = 20_000
STEADY_WITHIN_K = 1e-4


def area_m2(facts: HeaterFacts) -> float:
    """The face of a bed in square metres. Raises ValueError for a bed without width and depth."""
    if not facts.width_mm or not facts.depth_mm:
        raise ValueError("a pretend bed needs width_mm and depth_mm")
    return facts.width_mm * facts.depth_mm / 1e6


def surface(area: float, length_m: float, factor: float, emissivity: float, *, up: bool) -> Loss:
    """The loss of one horizontal face of `area` square metres; `factor` scales convection and radiation alike."""
    coefficient = (TOP_W_PER_K125 if up else UNDER_W_PER_K125) * length_m**-0.25
    return Loss(convection=coefficient * area * factor, radiation_w_per_k4=emissivity * STEFAN_BOLTZMANN * area * factor)


def bed(facts: HeaterFacts, true: TrueHeater, start_c: float) -> Chain:
    """Heater mat, plate, face: whichever there are. The mat loses below, the last lump above. Raises ValueError."""
    area = area_m2(facts)
    length_m = area / (2.0 * ((facts.width_mm or 0.0) + (facts.depth_mm or 0.0)) / 1000.0)
    board = facts.plate_material == "circuit board"
    capacity = [area * (PLATES["circuit board"].heat_capacity_j_per_m2k(TRACKS_MM) if board else SILICONE.heat_capacity_j_per_m2k(MAT_MM))]
    contacts: list[float] = []
    emissivity = SILICONE.emissivity
    if facts.plate_mm:
        plate = PLATES[facts.plate_material or "aluminium"]
        capacity.append(area * plate.heat_capacity_j_per_m2k(facts.plate_mm) * true.mass_factor)
        contacts.append(_in_series(true.mat_contact, 2.0 * plate.conductance_w_per_m2k(facts.plate_mm)))
        emissivity = plate.emissivity
    if facts.face_mm and facts.face_material in FACES:
        face = FACES[facts.face_material]
        capacity.append(area * face.heat_capacity_j_per_m2k(facts.face_mm) * true.mass_factor)
        contacts.append(_in_series(true.face_contact, 2.0 * face.conductance_w_per_m2k(facts.face_mm)))
        emissivity = face.emissivity
    if not contacts:
        raise ValueError("a pretend bed needs a plate or a face")
    losses = [Loss() for _ in capacity]
    losses[0] = surface(area, length_m, true.underside * true.loss_factor, SILICONE.emissivity, up=False)
    losses[-1] = surface(area, length_m, true.loss_factor, min(0.95, emissivity * true.emissivity_factor), up=True)
    return Chain(capacity, [contact * area for contact in contacts], losses, start_c)


def hotend(facts: HeaterFacts, true: TrueHeater, start_c: float) -> Chain:
    """Cartridge, block, nozzle. The block loses through the heat break and its sock, the nozzle to the air."""
    block_g = (facts.block_g or DEFAULT_BLOCK_G) * true.mass_factor
    side_m = (block_g / BLOCK_DENSITY_G_PER_CM3) ** (1.0 / 3.0) / 100.0
    area = 6.0 * side_m * side_m * true.loss_factor
    nozzle_area = 3e-4 * true.loss_factor
    losses = [
        Loss(),
        # small surfaces have strong convection; the sock halves it, and radiates as rubber does
        Loss(true.block_loss_w_per_k * true.loss_factor, 1.5 * area, 0.25, 0.5 * STEFAN_BOLTZMANN * area),
        Loss(0.0, 4.0 * nozzle_area, 0.25, 0.2 * STEFAN_BOLTZMANN * nozzle_area),
    ]
    capacity = [CARTRIDGE_J_PER_K, block_g * ALUMINIUM_J_PER_GK, NOZZLE_G * BRASS_J_PER_GK]
    return Chain(capacity, [true.cartridge_contact_w_per_k, NOZZLE_LINK_W_PER_K], losses, start_c)


def chamber(box: Enclosure, start_c: float) -> Chain:
    """Heating element, air, walls. Without a heater in it the element only adds a little to the air."""
    losses = [Loss(), Loss(box.leak_w_per_k), Loss(0.4 * box.outside_w_per_k, 0.25 * box.outside_w_per_k, 0.25)]
    return Chain([ELEMENT_J_PER_K, box.air_j_per_k, box.wall_j_per_k], [ELEMENT_LINK_W_PER_K, box.inside_w_per_k], losses, start_c)


def _in_series(first: float, second: float) -> float:
    return first * second / (first + second)


def slope_and_lag(chain: Chain, full_w: float) -> tuple[float, float]:
    """How a controller sees a chain: rise at full power in K/s, and the lag of its inner contacts in seconds."""
    lag_s = chain.capacity[0] / max(chain.link[0], 1e-6)
    for capacity, link in zip(chain.capacity[2:3], chain.link[1:2], strict=True):
        lag_s += 0.5 * sqrt(capacity / max(link, 1e-6))  # what lies on top follows, and only drags
    return full_w / sum(chain.capacity), lag_s


def steady_c(chain: Chain, heater_w: float, air_c: float, draft: float = 1.0, per_k: float = 0.0) -> list[float]:
    """What a copy of these lumps settles at under `heater_w` in air of `air_c`: degrees Celsius, one a lump.

    `per_k` is the growth of the heater's resistance per kelvin over 25 degrees Celsius. Raises ValueError if it never settles.
    """
    twin = deepcopy(chain)
    for _ in range(STEADY_STEPS):
        before_c = list(twin.celsius)
        twin.step(STEADY_STEP_S, heater_w / (1.0 + per_k * (twin.celsius[0] - 25.0)), air_c, draft)
        # half way lies the backward Euler solution of half the step, in which nothing rings however long the step is
        twin.celsius = [0.5 * (now_c + then_c) for now_c, then_c in zip(twin.celsius, before_c, strict=True)]
        if max(abs(now_c - then_c) for now_c, then_c in zip(twin.celsius, before_c, strict=True)) < STEADY_WITHIN_K:
            return twin.celsius
    raise ValueError(f"these lumps do not settle under {heater_w} W within {STEADY_STEPS * STEADY_STEP_S:.0f} s")
