"""Between ceiling and harm: process safety time, response, what is reached in the end; and the defaults against harm temperatures."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from watchdog.thermal.budget import fits, process_safety_s, reached_c, response_s
from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts
from watchdog.thermal.heater_classes import BED, CHAMBER, CLASSES, HOTEND, HeaterClass, ceiling_c
from watchdog.thermal.lumped import LinearLump, adiabatic_rise_k_per_s

STRONG = Facts(
    kind="bed", rated_w=750.0, normal_max_c=110.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=6.0, plate_material="aluminium"
)


def strong() -> Expectations:
    found = expectations(STRONG)
    assert found is not None
    return found


NEEDED_S = response_s(sensor_time_constant_s=10.0, interval_s=2.0, confirm_s=6.0, network_s=1.0, relay_s=0.02)


def test_a_response_is_the_sum_of_its_parts() -> None:
    # t90 of 10 s 23.03 s, two periods of 2 s, three samples 6 s, network 1 s, relay 0.02 s: 34.05 s
    assert pytest.approx(34.05, abs=0.01) == NEEDED_S


def test_a_response_has_half_of_the_process_safety_time() -> None:
    # common practice: response no more than half of it. 300 W, 2 W/K, 1500 J/K from 120 to 150 degC: 591.3 s
    slow_s = LinearLump(power_w=300.0, loss_w_per_k=2.0, heat_capacity_j_per_k=1500.0, air_c=25.0).time_s(120.0, 150.0)
    assert slow_s == pytest.approx(591.34, rel=1e-4)
    assert fits(slow_s, NEEDED_S)
    # 750 W on 6 mm of 6061-T6 without losses: 30 K in 52.25 s
    fast_s = 30.0 / adiabatic_rise_k_per_s(750.0, 1306.368)
    assert fast_s == pytest.approx(52.25, rel=1e-3)
    assert not fits(fast_s, NEEDED_S)
    assert fits(2.0 * NEEDED_S, NEEDED_S)


def test_the_time_to_harm_is_that_of_the_strongest_and_lightest() -> None:
    bed = strong()
    shortest_s = process_safety_s(bed, 120.0, 150.0)
    assert shortest_s == pytest.approx(bed.heating_time_s(120.0, 150.0).least)
    # 20 % stronger and lighter than 52.25 s without losses is 34.8 s; the plate alone has 900 instead of 896 J/(kg K)
    assert 34.8 * 1.004 < shortest_s < 1.25 * 34.8
    assert process_safety_s(bed, 150.0, 150.0) == 0.0
    assert process_safety_s(bed, 160.0, 150.0) == 0.0
    assert process_safety_s(bed, 120.0, bed.steady_c().most + 5.0) == inf


@given(from_c=st.floats(30.0, 140.0), after_s=st.floats(0.0, 120.0))
def test_nothing_gets_hotter_than_what_is_told_as_reached(from_c: float, after_s: float) -> None:
    """scipy's solve_ivp for the strongest and lightest bed; then the mat shares its heat with the plate."""
    bed = strong()
    solved = solve_ivp(lambda _, now: [bed.fastest_rise_k_per_s(now[0])], (0.0, max(after_s, 1e-6)), [from_c], rtol=1e-8)
    end_c = float(solved.y[0, -1])
    assert end_c + bed.stored_rise_k <= reached_c(bed, from_c, after_s) + 1e-6
    assert reached_c(bed, from_c, after_s) <= end_c + bed.stored_rise_k + 0.1 * (end_c - from_c), "and it is not much too careful"


def test_a_heater_beyond_its_steady_temperature_only_has_stored_heat_to_add() -> None:
    bed = strong()
    hot_c = bed.steady_c().most + 10.0
    assert reached_c(bed, hot_c, 60.0) == hot_c + bed.stored_rise_k


@pytest.mark.parametrize("kind", CLASSES.values(), ids=CLASSES)
def test_defaults_are_in_order(kind: HeaterClass) -> None:
    ceiling = ceiling_c(kind, kind.normal_max_c, kind.harm_c)
    hot_c = kind.limits["hot while off"]["hot_c"]
    assert kind.cold_c < hot_c
    assert kind.normal_max_c < ceiling < kind.harm_c <= kind.highest_harm_c <= kind.plausible_c[1]


def test_a_bed_is_cut_below_the_long_term_limits_of_its_parts() -> None:
    # acrylic transfer adhesive 149 degC long-term (from memory), PEI 170 continuous and FR4 glass transition 130 (data sheets)
    ceiling = ceiling_c(BED, BED.normal_max_c, BED.harm_c)
    assert ceiling < BED.harm_c <= min(149.0, 170.0, 130.0)
    # no harm temperature of an owner's own passes the short-term limits: adhesive 204, silicone rubber 232 (data sheets)
    assert BED.highest_harm_c <= min(204.0, 232.0)


def test_a_hotend_is_cut_below_the_decomposition_of_what_it_melts() -> None:
    # PLA: 5 % of its mass is lost at 324 to 327 degC (published thermogravimetry); wood 250 and lasting contact are not a hotend's
    assert ceiling_c(HOTEND, HOTEND.normal_max_c, HOTEND.harm_c) < HOTEND.harm_c < 324.0


def test_what_stays_hot_while_off_is_told_before_wood_chars_in_years() -> None:
    # long-term self-heating of wood: 77 degC (Fire and Materials, 31:125, 2007)
    assert BED.limits["hot while off"]["hot_c"] < 77.0
    assert CHAMBER.limits["hot while off"]["hot_c"] < 77.0
    assert CHAMBER.normal_max_c < 77.0


def test_what_is_called_cold_may_be_touched_for_minutes() -> None:
    # burn threshold for any material at 10 minutes of contact: 48 degC (ISO 13732-1, from memory)
    assert all(kind.cold_c <= 48.0 for kind in CLASSES.values())
