"""What things are made of, against handbooks and the design values of EN 12524 as `ht` 1.2.0 has them."""

import ht
import pytest

from watchdog.thermal.bed import MAT_MM, bed
from watchdog.thermal.facts import Facts
from watchdog.thermal.lumped import adiabatic_rise_k_per_s, spread_rise_k
from watchdog.thermal.materials import ALUMINIUM_J_PER_GK, COPPER_J_PER_GK, FACES, PLATES, SILICONE, Material

AREA_M2 = 0.09
PLATE = Material(2700.0, 896.0, 167.0, (0.1, 0.5, 0.9))
"""6061-T6 by the data sheet of its alloy."""


@pytest.mark.parametrize(
    ("material", "density", "specific_heat", "within"),
    [
        (PLATES["aluminium"], 2700.0, 896.0, 0.02),  # 6061-T6, alloy data sheet
        (PLATES["aluminium"], 2702.0, 903.0, 0.01),  # pure, 300 K: Incropera, table A.1
        (PLATES["aluminium"], 2770.0, 875.0, 0.03),  # 2024-T6, 300 K: Incropera, table A.1
        (PLATES["aluminium"], 2655.0, 900.0, 0.02),  # 5083-O, alloy data sheets
        (PLATES["aluminium"], 2800.0, 885.0, 0.05),  # cast tooling plate: from memory
        (PLATES["steel"], 7832.0, 434.0, 0.10),  # AISI 1010, 300 K: Incropera, example 5.4
        (PLATES["steel"], 7850.0, 475.0, 0.08),  # carbon spring steel: from memory
        (PLATES["copper"], 8933.0, 385.0, 0.01),  # 300 K: Incropera, table A.1
        (FACES["spring steel"], 7880.0, 500.0, 0.05),  # stainless 301 strip, 0 to 100 degC: mill data
        (FACES["spring steel"], 7850.0, 475.0, 0.08),  # carbon spring steel: from memory
        (FACES["glass"], 2230.0, 830.0, 0.05),  # borosilicate 3.3: DIN/ISO 3585 glass data
        (PLATES["glass"], 2500.0, 880.0, 0.05),  # soda-lime float glass: a glass maker's technical statement
        (FACES["polymer sheet"], 1270.0, 1175.0, 0.10),  # PEI film: from memory
        (PLATES["circuit board"], 1850.0, 945.0, 0.15),  # FR4 laminate data
        (FACES["glass-fibre laminate"], 1850.0, 998.7, 0.15),  # G-10 at 300 K: NIST cryogenics polynomial
        (SILICONE, 1200.0, 1300.0, 0.20),  # generic silicone rubber: from memory
    ],
)
def test_materials_are_as_dense_and_hold_as_much_heat_as_handbooks_say(
    material: Material, density: float, specific_heat: float, within: float
) -> None:
    assert material.density == pytest.approx(density, rel=within)
    assert material.specific_heat == pytest.approx(specific_heat, rel=within)


@pytest.mark.parametrize(
    ("material", "name", "within"),
    [
        (PLATES["aluminium"], "Metals, aluminium alloys", 0.05),
        (PLATES["steel"], "Metals, steel", 0.10),
        (PLATES["copper"], "Metals, copper", 0.05),
        (FACES["spring steel"], "Metals, stainless steel", 0.10),
        (FACES["spring steel"], "Metals, steel", 0.10),
        (PLATES["glass"], "Siding, Architectural (soda-lime float) glass", 0.05),
        (FACES["glass"], "Glass, soda lime", 0.10),
        (FACES["polymer sheet"], "Plastics, polycarbonates", 0.10),
        (SILICONE, "Sealant, silicone, filled", 0.15),
    ],
)
def test_heat_held_by_volume_is_that_of_the_design_tables(material: Material, name: str, within: float) -> None:
    """ht 1.2.0, values of EN 12524. Its "Floor covering, tiles, cork" lacks a decimal in the conductivity and is not used."""
    held_j_per_m3k = ht.rho_material(name) * ht.Cp_material(name)  # type: ignore[no-untyped-call]  # these have no types
    assert material.heat_capacity_j_per_m2k(1000.0) == pytest.approx(held_j_per_m3k, rel=within)


@pytest.mark.parametrize(
    ("material", "least", "most"),
    [
        (PLATES["aluminium"], 105.0, 237.0),  # cast 5083 plate (from memory) to pure (Incropera, A.1)
        (PLATES["steel"], 46.0, 64.0),  # spring steel (from memory), AISI 1010 (Incropera, A.1)
        (PLATES["copper"], 397.0, 405.0),  # Incropera, A.1: 401
        (PLATES["glass"], 0.9, 1.2),  # float 0.937, borosilicate 1.2: glass data
        (FACES["glass"], 0.9, 1.2),
        (FACES["ceramic"], 1.0, 1.4),  # tiles (ht), Pyrex (Incropera, A.3, from memory)
        (FACES["polymer sheet"], 0.19, 0.24),  # from memory
        (FACES["glass-fibre laminate"], 0.29, 0.35),  # FR4 laminate data, through the sheet
        (SILICONE, 0.2, 0.35),  # measured by ASTM E1530 0.22 to 0.25; ht 0.35
    ],
)
def test_conductivities_lie_between_those_of_handbooks(material: Material, least: float, most: float) -> None:
    assert least <= material.conductivity <= most


@pytest.mark.parametrize(
    ("material", "emissivity"),
    [
        (PLATES["aluminium"], 0.84),  # anodised, 20 degC: tables of total normal emissivity
        (PLATES["aluminium"], 0.09),  # commercial sheet, 100 degC: the same
        (PLATES["aluminium"], 0.25),  # heavily oxidised: the same
        (PLATES["steel"], 0.56),  # rolled sheet, 50 degC: emissivity table
        (PLATES["steel"], 0.66),
        (PLATES["glass"], 0.84),  # hemispherical, 24 degC: glass maker; 0.97 of infrared cameras is no heat balance
        (FACES["glass"], 0.84),
        (FACES["polymer sheet"], 0.90),  # from memory
        (SILICONE, 0.90),  # from memory
    ],
)
def test_known_emissivities_lie_within_the_plausible_ones(material: Material, emissivity: float) -> None:
    least, usual, most = material.emissivity
    assert least <= emissivity <= most
    assert least <= usual <= most <= 1.0


def test_nothing_solid_holds_more_heat_by_volume_than_water() -> None:
    for material in (*PLATES.values(), *FACES.values(), SILICONE):
        assert 1.0e6 < material.density * material.specific_heat < 4.2e6


def test_a_plate_holds_the_heat_of_its_mass() -> None:
    # 300 x 300 x 6 mm of 6061-T6: 1.4580 kg, 1306.37 J/K
    assert AREA_M2 * PLATE.heat_capacity_j_per_m2k(6.0) == pytest.approx(1306.368, rel=1e-9)
    told = bed(Facts(kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=6.0))
    assert told is not None
    assert told.plate_j_per_k == pytest.approx(1306.37, rel=0.01)


@pytest.mark.parametrize(
    ("power_w", "rise_k_per_s", "took_s"), [(200, 0.15310, 489.89), (300, 0.22964, 326.59), (500, 0.38274, 195.96), (750, 0.57411, 130.64)]
)
def test_a_plate_without_losses_heats_by_power_over_capacity(power_w: float, rise_k_per_s: float, took_s: float) -> None:
    # P / (m c) of the plate above, and 25 to 100 degC
    rate = adiabatic_rise_k_per_s(power_w, 1306.368)
    assert rate == pytest.approx(rise_k_per_s, rel=1e-4)
    assert 75.0 / rate == pytest.approx(took_s, rel=1e-4)


def test_glass_and_mat_and_sheet_add_their_heat() -> None:
    glass, steel = Material(2230.0, 830.0, 1.2, (0.8, 0.8, 0.8)), Material(7850.0, 490.0, 48.0, (0.8, 0.8, 0.8))
    added = [AREA_M2 * glass.heat_capacity_j_per_m2k(4.0), AREA_M2 * SILICONE.heat_capacity_j_per_m2k(MAT_MM)]
    assert added == pytest.approx([666.3, 210.6], rel=1e-4)
    assert 1306.368 + sum(added) == pytest.approx(2183.29, rel=1e-4)
    assert AREA_M2 * steel.heat_capacity_j_per_m2k(0.8) == pytest.approx(276.95, rel=1e-4)


def test_a_bed_told_in_full_is_the_sum_of_its_layers() -> None:
    facts = Facts(
        kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=6.0,
        plate_material="aluminium", face_mm=4.0, face_material="glass",
    )  # fmt: skip
    told = bed(facts)
    assert told is not None
    # plate, 4 mm of borosilicate glass and 1.5 mm of silicone: 2183.29 J/K; ours has a mean of two kinds of glass
    assert told.capacity_j_per_k.usual == pytest.approx(2183.29, rel=0.02)
    assert told.length_m == pytest.approx(0.075)


def test_the_example_of_a_maker_of_heaters() -> None:
    # plate of 3.53 lb, 0.24 Btu/(lb F), 70 to 270 F in half an hour takes 99 W
    capacity_j_per_k = 3.53 * 0.45359237 * 0.24 * 4186.8
    rise_k = (270.0 - 70.0) / 1.8
    assert adiabatic_rise_k_per_s(99.0, capacity_j_per_k) * 1800.0 == pytest.approx(rise_k, rel=0.005)


def test_heat_stored_in_a_mat_lifts_the_plate_after_switch_off() -> None:
    # 210.6 J/K that are 60 K hotter than 1306.4 J/K: 8.330 K, the balance of their heat
    assert spread_rise_k(210.6, 60.0, 1306.368) == pytest.approx(8.330, rel=1e-3)
    told = bed(Facts(kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=6.0))
    assert told is not None
    assert told.stored_rise_k(60.0 * 300.0 * AREA_M2) == pytest.approx(8.330, rel=0.01), "300 W/(m2 K): 60 K at 1620 W"


def test_the_heat_of_a_block_lies_between_copper_and_aluminium() -> None:
    assert pytest.approx(0.896, rel=0.01) == ALUMINIUM_J_PER_GK  # alloy data sheet, Incropera A.1
    assert pytest.approx(0.385, rel=0.01) == COPPER_J_PER_GK  # Incropera, A.1
    assert COPPER_J_PER_GK < 0.434 < ALUMINIUM_J_PER_GK, "steel (Incropera, A.1) and brass lie between"
