"""One lump against worked examples of textbooks, closed forms and scipy."""

from math import exp, inf, pi

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from watchdog.thermal.air import radiation_w_per_m2
from watchdog.thermal.facts import Facts
from watchdog.thermal.layers import layers
from watchdog.thermal.lumped import (
    ONE_LUMP_BELOW,
    LinearLump,
    biot,
    conduction_time_s,
    ramp_lag_k,
    remaining_k,
    time_between_s,
)

BED = LinearLump(power_w=300.0, loss_w_per_k=2.0, heat_capacity_j_per_k=1500.0, air_c=25.0)
IDLE = LinearLump(power_w=0.0, loss_w_per_k=2.0, heat_capacity_j_per_k=1500.0, air_c=25.0)


def test_a_thermocouple_of_the_textbook() -> None:
    # Incropera, 6th ed., example 5.1: h 400, k 20, c 400, rho 8500, tau 1 s: 7.06e-4 m, Bi 2.35e-3, 5.2 s from 25 to 199 in 200 degC
    diameter_m = 6.0 * 400.0 * 1.0 / (8500.0 * 400.0)
    assert diameter_m == pytest.approx(7.06e-4, rel=0.005)
    assert biot(400.0, diameter_m / 6.0, 20.0) == pytest.approx(2.35e-3, rel=0.005)
    junction = LinearLump(power_w=0.0, loss_w_per_k=400.0, heat_capacity_j_per_k=400.0, air_c=200.0)
    assert junction.time_s(25.0, 199.0) == pytest.approx(5.165, rel=0.005)


def test_the_same_thermocouple_between_hot_walls() -> None:
    # Incropera, example 5.2: emissivity 0.9, walls of 400 degC: ends at 218.7 degC, 4.9 to 5.0 s to 217.7
    capacity_j_per_m2k = 8500.0 * 400.0 * 7.06e-4 / 6.0

    def rate(celsius: float) -> float:
        return (400.0 * (200.0 - celsius) - radiation_w_per_m2(celsius, 400.0, 0.9)) / capacity_j_per_m2k

    assert rate(218.5) > 0.0 > rate(218.9)
    assert time_between_s(25.0, 217.7, rate) == pytest.approx(4.98, rel=0.02)
    assert time_between_s(25.0, 218.9, rate) == inf


def test_a_coated_panel_of_the_textbook() -> None:
    # Incropera, example 5.3: 3 mm of 2024-T6, emissivity 0.8; heats in 175 degC at h 40, 300 s over 150 degC, cools at h 10 to 37 degC
    capacity_j_per_m2k = 2770.0 * 875.0 * 0.0015
    assert biot(40.0, 0.0015, 177.0) == pytest.approx(3.4e-4, rel=0.01)
    assert biot(10.0, 0.0015, 177.0) == pytest.approx(8.5e-5, rel=0.01)

    def rate(celsius: float, around_c: float, coefficient: float) -> float:
        return (coefficient * (around_c - celsius) - radiation_w_per_m2(celsius, around_c, 0.8)) / capacity_j_per_m2k

    to_150_s = time_between_s(25.0, 150.0, lambda celsius: rate(celsius, 175.0, 40.0))
    to_top_s = time_between_s(25.0, 174.7, lambda celsius: rate(celsius, 175.0, 40.0))
    cooling_s = time_between_s(174.7, 37.0, lambda celsius: rate(celsius, 25.0, 10.0))
    assert to_150_s == pytest.approx(124.0, rel=0.015)
    assert to_top_s == pytest.approx(423.0, rel=0.05), "so near its end a tenth of a kelvin is half a minute"
    assert to_150_s + 300.0 + cooling_s == pytest.approx(986.0, rel=0.01)


def test_a_bead_of_the_other_textbook() -> None:
    # Cengel, example 4-1: 1 mm, k 35, rho 8500, cp 320, h 210: Bi 1.0e-3, 0.4632 1/s, 99 % after 10 s
    assert biot(210.0, 0.001 / 6.0, 35.0) == pytest.approx(1.0e-3, rel=0.005)
    bead = LinearLump(power_w=0.0, loss_w_per_k=210.0, heat_capacity_j_per_k=8500.0 * 320.0 * 0.001 / 6.0, air_c=100.0)
    assert 1.0 / bead.time_constant_s == pytest.approx(0.4632, rel=0.005)
    assert bead.time_s(0.0, 99.0) == pytest.approx(9.941, rel=0.005)


def test_a_body_that_is_no_lump() -> None:
    # Cengel, example 4-2: length 1.7, radius 0.15, h 8, k 0.617: Lc 0.0689, Bi 0.894; as a lump 12.2 h from 37 to 25 in 20 degC
    volume_m3, surface_m2 = pi * 0.15**2 * 1.7, 2.0 * pi * 0.15 * 1.7 + 2.0 * pi * 0.15**2
    number = biot(8.0, volume_m3 / surface_m2, 0.617)
    assert volume_m3 / surface_m2 == pytest.approx(0.0689, rel=0.005)
    assert number == pytest.approx(0.894, rel=0.005)
    assert number > ONE_LUMP_BELOW
    body = LinearLump(power_w=0.0, loss_w_per_k=8.0 * surface_m2, heat_capacity_j_per_k=996.0 * 4178.0 * volume_m3, air_c=20.0)
    assert body.time_s(37.0, 25.0) / 3600.0 == pytest.approx(12.2, rel=0.005)


@pytest.mark.parametrize(("constants", "share"), [(1, 0.632121), (2, 0.864665), (3, 0.950213), (4, 0.981684), (5, 0.993262)])
def test_shares_of_a_step(constants: int, share: float) -> None:
    # the share that is reached after so many time constants
    assert (BED.temperature_c(25.0, constants * 750.0) - 25.0) / 150.0 == pytest.approx(share, rel=1e-6)


def test_half_nine_tenths_and_rise_time() -> None:
    # ln 2, ln 10, ln 9
    times = [BED.time_s(25.0, 25.0 + share * 150.0) / 750.0 for share in (0.5, 0.9, 0.1)]
    assert times[0] == pytest.approx(0.693147, rel=1e-6)
    assert times[1] == pytest.approx(2.302585, rel=1e-6)
    assert times[1] - times[2] == pytest.approx(2.197225, rel=1e-6)


@pytest.mark.parametrize(("after_s", "celsius"), [(60, 36.533), (300, 74.452), (750, 119.818), (1500, 154.700)])
def test_a_bed_with_linear_loss(after_s: float, celsius: float) -> None:
    # 300 W, 2 W/K, 1500 J/K in 25 degC: tau 750 s, 175 degC; closed form, and scipy's solve_ivp
    assert (BED.time_constant_s, BED.steady_c) == (750.0, 175.0)
    assert BED.temperature_c(25.0, after_s) == pytest.approx(celsius, rel=1e-4)
    solved = solve_ivp(lambda _, now: [(300.0 - 2.0 * (now[0] - 25.0)) / 1500.0], (0.0, after_s), [25.0], rtol=1e-9, atol=1e-9)
    assert BED.temperature_c(25.0, after_s) == pytest.approx(float(solved.y[0, -1]), rel=1e-7)


@pytest.mark.parametrize(
    ("lump", "from_c", "to_c", "took_s"),
    [
        (BED, 25.0, 100.0, 519.86),
        (BED, 120.0, 150.0, 591.34),
        (IDLE, 110.0, 50.0, 917.83),
        (IDLE, 110.0, 43.0, 1164.2),
        (IDLE, 65.0, 45.0, 519.86),  # the half-life
    ],
)
def test_times_between_two_temperatures(lump: LinearLump, from_c: float, to_c: float, took_s: float) -> None:
    # -tau ln((Tss - T2) / (Tss - T1))
    assert lump.time_s(from_c, to_c) == pytest.approx(took_s, rel=1e-4)
    by_steps_s = time_between_s(from_c, to_c, lambda celsius: (lump.power_w - 2.0 * (celsius - 25.0)) / 1500.0)
    assert by_steps_s == pytest.approx(took_s, rel=1e-4)


def test_what_is_never_reached_takes_for_ever() -> None:
    assert BED.time_s(25.0, 175.0) == inf
    assert BED.time_s(25.0, 180.0) == inf
    assert BED.time_s(100.0, 60.0) == inf, "it goes the other way"
    assert BED.time_s(60.0, 60.0) == 0.0
    assert IDLE.time_s(60.0, 25.0) == inf
    assert time_between_s(25.0, 180.0, lambda celsius: 175.0 - celsius) == inf
    assert time_between_s(100.0, 60.0, lambda celsius: 175.0 - celsius) == inf
    assert time_between_s(60.0, 60.0, lambda celsius: 175.0 - celsius) == 0.0


@given(from_c=st.floats(-20.0, 170.0), share=st.floats(0.01, 0.97), after=st.floats(0.01, 0.99))
def test_times_add_up_and_invert_temperatures(from_c: float, share: float, after: float) -> None:
    to_c = from_c + share * (175.0 - from_c)
    between_c = from_c + after * (to_c - from_c)
    assert BED.time_s(from_c, between_c) + BED.time_s(between_c, to_c) == pytest.approx(BED.time_s(from_c, to_c), rel=1e-9, abs=1e-9)
    assert BED.temperature_c(from_c, BED.time_s(from_c, to_c)) == pytest.approx(to_c, rel=1e-9)


@pytest.mark.parametrize(("at_s", "shown_c"), [(5, 1.0653), (10, 3.6788), (30, 20.498), (60, 50.025)])
def test_a_sensor_lags_behind_a_ramp(at_s: float, shown_c: float) -> None:
    # r (t - tau (1 - exp(-t / tau))), 1 K/s and 10 s
    assert at_s - ramp_lag_k(1.0, 10.0, at_s) == pytest.approx(shown_c, rel=1e-4)
    assert ramp_lag_k(1.0, 10.0) == pytest.approx(10.0)


def test_a_plate_cools_more_slowly_in_still_air_than_with_a_constant_coefficient() -> None:
    # Bejan, Heat Transfer Handbook, eq. 3.286: 80 K, exponent 0.25, 1/600 1/s, 600 s: 32.768 K; constant coefficient 29.430 K
    assert remaining_k(80.0, 1.0 / 600.0, 0.25, 600.0) == pytest.approx(32.768, rel=1e-4)
    assert remaining_k(80.0, 1.0 / 600.0, 0.0, 600.0) == pytest.approx(29.430, rel=1e-4)


@given(excess=st.floats(1.0, 300.0), per_s=st.floats(1e-5, 1e-2), exponent=st.floats(0.05, 0.5), after_s=st.floats(1.0, 3600.0))
def test_that_cooling_curve_solves_its_equation(excess: float, per_s: float, exponent: float, after_s: float) -> None:
    assume(per_s * after_s < 20.0)
    solved = solve_ivp(
        lambda _, now: [-per_s * now[0] * (max(now[0], 0.0) / excess) ** exponent], (0.0, after_s), [excess], rtol=1e-8, atol=1e-10
    )
    assert remaining_k(excess, per_s, exponent, after_s) == pytest.approx(float(solved.y[0, -1]), rel=1e-5)
    assert remaining_k(excess, per_s, exponent, after_s) >= excess * exp(-per_s * after_s)


@pytest.mark.parametrize(
    ("depth_mm", "conductivity", "number"),
    [(6.0, 167.0, 0.00054), (4.0, 1.2, 0.0500), (4.0, 0.937, 0.0640), (6.0, 0.05, 1.80), (1.6, 0.29, 0.0828)],
)
def test_biot_numbers_of_plates(depth_mm: float, conductivity: float, number: float) -> None:
    # h 15: 6061, borosilicate, soda-lime, cork, FR4; the whole thickness (data sheets of each)
    assert biot(15.0, depth_mm / 1000.0, conductivity) == pytest.approx(number, rel=0.01)


@pytest.mark.parametrize(
    ("depth_mm", "conductivity", "held_j_per_m3k", "late_s"),
    [
        (6.0, 167.0, 2700.0 * 896.0, 0.52),
        (4.0, 1.2, 2230.0 * 830.0, 24.7),
        (4.0, 0.937, 2500.0 * 880.0, 37.6),
        (6.0, 0.05, 200.0 * 1500.0, 216.0),
        (1.6, 0.29, 1850.0 * 950.0, 15.5),
        (1.5, 0.24, 1200.0 * 1300.0, 14.6),
    ],
)
def test_how_long_heat_takes_through_a_layer(depth_mm: float, conductivity: float, held_j_per_m3k: float, late_s: float) -> None:
    # L^2 / alpha: the same, and a silicone mat; glass is late by tens of seconds
    assert conduction_time_s(depth_mm / 1000.0, conductivity, held_j_per_m3k) == pytest.approx(late_s, rel=0.02)


def facts(plate_mm: float | None, plate: str | None, face_mm: float | None = None, face: str | None = None) -> Facts:
    return Facts(
        kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=plate_mm,
        plate_material=plate, face_mm=face_mm, face_material=face,
    )  # fmt: skip


def test_an_owner_is_told_of_layers_that_do_not_follow() -> None:
    aluminium, glass = layers(facts(6.0, "aluminium", 4.0, "glass"))
    assert (aluminium.name, aluminium.remark) == ("plate", None)
    assert glass.remark == "the face (4 mm of glass) follows its heater about 31 s late"
    (board,) = layers(facts(8.0, "circuit board"))
    assert board.remark is not None
    assert board.remark.startswith("the plate (8 mm of circuit board) is not of one temperature (Biot number 0.40")
    assert layers(facts(None, None, 1.0, "none")) == ()
    assert layers(Facts(kind="hotend", rated_w=50.0, normal_max_c=270.0, harm_c=310.0, block_g=20.0)) == ()
