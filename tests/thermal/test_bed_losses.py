"""A bed by itself: what it loses, where it settles, how it heats up with losses. `ht`, CoolProp and scipy made the numbers."""

import pytest
from scipy.integrate import solve_ivp

from watchdog.thermal.air import convection_w_per_m2k, radiation_w_per_m2
from watchdog.thermal.bed import Bed, bed
from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts
from watchdog.thermal.lumped import settles_c, time_between_s

AIR_C = 25.0
WHOLE = pytest.mark.parametrize(
    ("width_mm", "power_w", "bare", "insulated"),
    [
        (220.0, 120.0, (110.3, 108.1, 115.1), (154.0, 146.8, 162.7)),
        (235.0, 220.0, (146.5, 143.2, 152.2), (204.7, 195.1, 214.0)),
        (300.0, 200.0, (105.5, 102.4, 109.3), (147.4, 137.4, 152.6)),
        (300.0, 300.0, (133.8, 129.8, 138.4), (187.4, 175.4, 193.3)),
        (300.0, 500.0, (180.3, 175.2, 185.6), (250.6, 237.0, 257.2)),
        (300.0, 750.0, (226.4, 220.9, 232.3), (311.2, 297.5, 318.2)),
        (350.0, 1000.0, (225.4, 219.0, 230.5), (309.9, 294.2, 314.9)),
        (400.0, 1500.0, (244.3, 237.1, 248.9), (334.2, 317.0, 337.6)),
    ],
)
"""Squares stuck on, emissivity 0.9, air of 25 degC: by McAdams, VDI and Rohsenow of ht 1.2.0 with the air of CoolProp 8.0.0."""


def loss_w(celsius: float, width_mm: float, *, under: bool, emissivity: float = 0.9) -> float:
    """A square plate in air of 25 degC."""
    area_m2, length_m = (width_mm / 1000.0) ** 2, width_mm / 4000.0
    faces = (True, False) if under else (True,)
    convection = sum(convection_w_per_m2k(celsius, AIR_C, length_m, up=up) for up in faces) * (celsius - AIR_C)
    return area_m2 * (convection + len(faces) * radiation_w_per_m2(celsius, AIR_C, emissivity))


def square(width_mm: float, power_w: float, **others: float | str) -> Facts:
    return Facts(kind="bed", rated_w=power_w, normal_max_c=100.0, harm_c=150.0, width_mm=width_mm, depth_mm=width_mm, **others)  # type: ignore[arg-type]  # facts


def expected(facts: Facts) -> Expectations:
    found = expectations(facts)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("celsius", "bare_w", "insulated_w"),
    [
        (60.0, 70.83, 40.46),
        (80.0, 123.01, 70.29),
        (100.0, 182.46, 104.06),
        (110.0, 214.95, 122.40),
        (150.0, 364.39, 205.94),
        (200.0, 600.19, 335.49),
    ],
)
def test_what_a_bed_loses(celsius: float, bare_w: float, insulated_w: float) -> None:
    """300 x 300 mm, emissivity 0.9: ht 1.2.0 McAdams with the air of CoolProp 8.0.0."""
    assert loss_w(celsius, 300.0, under=True) == pytest.approx(bare_w, rel=0.005)
    assert loss_w(celsius, 300.0, under=False) == pytest.approx(insulated_w, rel=0.005)
    glass = bed(square(300.0, 300.0, plate_mm=4.0, plate_material="glass"))
    assert glass is not None
    usual_w = insulated_w + 0.5 * (bare_w - insulated_w)  # half of the underside is what we take as usual
    assert glass.loss_w(celsius, AIR_C).usual == pytest.approx(usual_w, rel=0.005)
    assert glass.loss_w(celsius, AIR_C).least < insulated_w < bare_w < glass.loss_w(celsius, AIR_C).most


@WHOLE
def test_where_a_bed_stuck_on_settles(width_mm: float, power_w: float, bare: tuple[float, ...], insulated: tuple[float, ...]) -> None:
    for under, settles in ((True, bare), (False, insulated)):
        ours_c = settles_c(AIR_C, 1000.0, lambda _: power_w, lambda celsius, under=under: loss_w(celsius, width_mm, under=under))
        assert ours_c - AIR_C == pytest.approx(settles[0] - AIR_C, rel=0.005)


@WHOLE
def test_all_correlations_settle_within_the_bounds(
    width_mm: float, power_w: float, bare: tuple[float, ...], insulated: tuple[float, ...]
) -> None:
    steady = expected(square(width_mm, power_w, plate_mm=5.0, plate_material="aluminium")).steady_c()
    assert steady.least < min(bare) < max(insulated) < steady.most
    assert bare[0] - 3.0 < steady.usual < insulated[0] + 3.0


def test_bare_aluminium_settles_far_hotter_and_within_the_bounds() -> None:
    # 300 W on 300 x 300 mm, emissivity 0.09 on both faces: 226.2 degC instead of 133.8 (ht 1.2.0, McAdams)
    ours_c = settles_c(AIR_C, 1000.0, lambda _: 300.0, lambda celsius: loss_w(celsius, 300.0, under=True, emissivity=0.09))
    assert ours_c == pytest.approx(226.2, abs=1.0)
    steady = expected(square(300.0, 300.0, plate_mm=5.0, plate_material="aluminium")).steady_c()
    assert steady.least < ours_c < steady.most


@pytest.mark.parametrize(("power_w", "took_s"), [(200.0, 1176.0), (300.0, 480.2)])
def test_a_plate_heats_up_with_losses(power_w: float, took_s: float) -> None:
    """6 mm of 6061-T6, both faces bare, 25 to 100 degC: solved by scipy with ht 1.2.0 and CoolProp 8.0.0."""
    ours_s = time_between_s(25.0, 100.0, lambda celsius: (power_w - loss_w(celsius, 300.0, under=True)) / 1306.368)
    assert ours_s == pytest.approx(took_s, rel=0.005)


@pytest.mark.parametrize(
    "facts",
    [
        square(300.0, 500.0, plate_mm=6.0, plate_material="aluminium", face_mm=4.0, face_material="glass"),
        square(220.0, 220.0, plate_mm=1.6, plate_material="circuit board", face_mm=0.8, face_material="spring steel"),
        Facts(kind="hotend", rated_w=50.0, normal_max_c=270.0, harm_c=310.0, block_g=18.0),
    ],
    ids=["bed", "board", "hotend"],
)
def test_times_are_those_of_the_differential_equation(facts: Facts) -> None:
    """scipy.integrate.solve_ivp as the reference, for heating up at full power and for cooling without it."""
    ours = expected(facts)
    hot_c = min(0.8 * facts.normal_max_c, ours.steady_c().usual - 15.0)

    def rate(celsius: float, power: float) -> float:
        return (power * ours.power_w(celsius).usual - ours.loss_w(celsius).usual) / ours.capacity_j_per_k.usual

    heating_s, cooling_s = ours.heating_time_s(25.0, hot_c).usual, ours.cooling_time_s(hot_c, 40.0).usual
    heats = solve_ivp(lambda _, now: [rate(now[0], 1.0)], (0.0, heating_s), [25.0], rtol=1e-8)
    cools = solve_ivp(lambda _, now: [rate(now[0], 0.0)], (0.0, cooling_s), [hot_c], rtol=1e-8)
    assert float(heats.y[0, -1]) - 25.0 == pytest.approx(hot_c - 25.0, rel=0.005)
    assert hot_c - float(cools.y[0, -1]) == pytest.approx(hot_c - 40.0, rel=0.005)


def test_a_bed_without_size_or_substance_is_not_judged() -> None:
    nothing = Facts(kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0)
    assert bed(nothing) is None
    assert expectations(nothing) is None
    assert expectations(Facts(kind="chamber", rated_w=300.0, normal_max_c=60.0, harm_c=90.0)) is None
    assert expectations(Facts(kind="hotend", rated_w=0.0, normal_max_c=270.0, harm_c=310.0, block_g=20.0)) is None
    assert expectations(Facts(kind="hotend", rated_w=40.0, normal_max_c=270.0, harm_c=310.0)) is None


def test_the_tracks_of_a_board_are_part_of_its_thickness() -> None:
    board = bed(square(220.0, 220.0, plate_mm=1.6, plate_material="circuit board"))
    assert isinstance(board, Bed)
    # 1850 kg/m3, 950 J/(kg K): FR4 laminate data
    assert board.capacity_j_per_k.usual == pytest.approx(0.22 * 0.22 * 0.0016 * 1850.0 * 950.0, rel=1e-6)
    assert 0.0 < board.stored_rise_k(220.0) < 1.0, "tracks are thin and close"
