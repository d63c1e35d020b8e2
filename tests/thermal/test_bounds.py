"""For any heater that owners may describe: its bounds are in order, and its times and losses make sense."""

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts, Range
from watchdog.thermal.materials import FACES, PLATES

SIDES_MM = st.floats(60.0, 1000.0)
BEDS = st.builds(
    Facts,
    kind=st.just("bed"),
    rated_w=st.floats(20.0, 4000.0),
    normal_max_c=st.just(100.0),
    harm_c=st.just(150.0),
    width_mm=SIDES_MM,
    depth_mm=SIDES_MM,
    plate_mm=st.floats(0.5, 15.0),
    plate_material=st.sampled_from(sorted(PLATES)),
    face_mm=st.none() | st.floats(0.1, 6.0),
    face_material=st.sampled_from(["none", *sorted(FACES)]),
)
ON_MAT = st.builds(
    lambda facts, face: replace(facts, plate_mm=None, plate_material=None, face_mm=1.5, face_material=face),
    BEDS,
    st.sampled_from(sorted(FACES)),
)
HOTENDS = st.builds(
    Facts,
    kind=st.just("hotend"),
    rated_w=st.floats(10.0, 200.0),
    normal_max_c=st.just(270.0),
    harm_c=st.just(310.0),
    block_g=st.floats(3.0, 150.0),
)
HEATERS = BEDS | ON_MAT | HOTENDS
TEMPERATURES_C = st.floats(-40.0, 640.0)


def expected(facts: Facts) -> Expectations:
    found = expectations(facts)
    assert found is not None
    return found


@given(facts=HEATERS, celsius=TEMPERATURES_C)
def test_slowest_usual_and_fastest_are_in_order(facts: Facts, celsius: float) -> None:
    heater = expected(facts)
    little = 1e-3  # curves are straight between points of their grid
    assert heater.slowest_rise_k_per_s(celsius) <= heater.cautious_rise_k_per_s(celsius) + little
    assert heater.cautious_rise_k_per_s(celsius) <= heater.usual_rise_k_per_s(celsius) + little
    assert heater.usual_rise_k_per_s(celsius) <= heater.fastest_rise_k_per_s(celsius) + little
    assert 0.0 <= heater.slowest_fall_k_per_s(celsius) <= heater.usual_fall_k_per_s(celsius) + little
    assert heater.usual_fall_k_per_s(celsius) <= heater.fastest_fall_k_per_s(celsius) + little


@given(facts=HEATERS, celsius=TEMPERATURES_C)
def test_ranges_are_in_order(facts: Facts, celsius: float) -> None:
    heater = expected(facts)
    for found in (heater.power_w(celsius), heater.capacity_j_per_k, heater.loss_w(celsius), heater.steady_c()):
        assert found.least <= found.usual * (1.0 + 1e-9) + 1e-9
        assert found.usual <= found.most + 1e-9
    assert heater.power_w(celsius).least > 0.0
    assert heater.capacity_j_per_k.least > 0.0
    assert heater.stored_rise_k >= 0.0


@given(facts=HEATERS, celsius=TEMPERATURES_C, hotter_k=st.floats(0.1, 200.0))
def test_a_hotter_heater_loses_more_and_rises_more_slowly(facts: Facts, celsius: float, hotter_k: float) -> None:
    heater, hotter_c = expected(facts), min(celsius + hotter_k, 640.0)
    assert all(now <= then + 1e-9 for now, then in zip(heater.loss_w(celsius), heater.loss_w(hotter_c), strict=True))
    for rate in (heater.slowest_rise_k_per_s, heater.usual_rise_k_per_s, heater.fastest_rise_k_per_s, heater.cautious_rise_k_per_s):
        assert rate(hotter_c) <= rate(celsius) + 1e-9
    for fall in (heater.slowest_fall_k_per_s, heater.usual_fall_k_per_s, heater.fastest_fall_k_per_s):
        assert fall(hotter_c) >= fall(celsius) - 1e-9


@given(facts=HEATERS, celsius=TEMPERATURES_C, duties=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)))
def test_more_duty_never_owes_less(facts: Facts, celsius: float, duties: tuple[float, float]) -> None:
    less, more = sorted(duties)
    assert expected(facts).slowest_rise_k_per_s(celsius, less) <= expected(facts).slowest_rise_k_per_s(celsius, more) + 1e-12
    assert expected(facts).slowest_rise_k_per_s(celsius, 0.0) <= 0.0


@given(facts=HEATERS)
def test_it_settles_where_it_no_longer_rises(facts: Facts) -> None:
    heater = expected(facts)
    steady = heater.steady_c()
    if steady.most < 600.0:
        assert heater.fastest_rise_k_per_s(steady.most - 6.0) > 0.0 > heater.fastest_rise_k_per_s(steady.most + 6.0)
    if steady.usual < 600.0:
        assert heater.usual_rise_k_per_s(steady.usual - 6.0) > 0.0 > heater.usual_rise_k_per_s(steady.usual + 6.0)
    if steady.least < 600.0:
        assert heater.slowest_rise_k_per_s(steady.least - 6.0) > 0.0 > heater.slowest_rise_k_per_s(steady.least + 6.0)


def close(parts: tuple[Range, Range], whole: Range) -> bool:
    sums = [one + other for one, other in zip(*parts, strict=True)]
    return all(found == total or found == pytest.approx(total, rel=0.01) for found, total in zip(sums, whole, strict=True))


@given(facts=HEATERS, from_c=st.floats(15.0, 60.0), shares=st.tuples(st.floats(0.1, 0.9), st.floats(0.2, 0.8)))
def test_times_add_up_and_are_in_order(facts: Facts, from_c: float, shares: tuple[float, float]) -> None:
    heater = expected(facts)
    least_c = max(heater.steady_c().least, from_c + 20.0)
    to_c = from_c + shares[0] * (least_c - from_c)
    between_c = from_c + shares[1] * (to_c - from_c)
    heating = heater.heating_time_s(from_c, to_c)
    assert heating.least <= heating.usual * 1.01 <= heating.most * 1.0201
    assert close((heater.heating_time_s(from_c, between_c), heater.heating_time_s(between_c, to_c)), heating)
    # near the air around it a rate goes to nothing and takes for ever, which steps over temperature do not follow
    cold_c = max(between_c, 46.0)
    hot_c = max(to_c, cold_c + 10.0)
    cooling = heater.cooling_time_s(hot_c, cold_c)
    assert cooling.least <= cooling.usual * 1.01 <= cooling.most * 1.0201
    middle_c = 0.5 * (hot_c + cold_c)
    assert close((heater.cooling_time_s(hot_c, middle_c), heater.cooling_time_s(middle_c, cold_c)), cooling)


def test_what_never_arrives_takes_for_ever() -> None:
    facts = Facts(kind="bed", rated_w=60.0, normal_max_c=60.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=3.0)
    heater = expected(facts)
    assert heater.heating_time_s(22.0, heater.steady_c().most + 1.0) == (inf, inf, inf)
    assert heater.heating_time_s(22.0, heater.steady_c().least + 10.0).most == inf
    assert heater.cooling_time_s(60.0, 10.0) == (inf, inf, inf)
    assert heater.cooling_time_s(60.0, 30.0).most == inf, "a box around it may be warmer than that"
    assert heater.heating_time_s(50.0, 50.0) == (0.0, 0.0, 0.0)


def test_warm_air_alone_may_heat_a_cold_bed() -> None:
    # a cold bed that is put into a warm box rises by itself, which the fastest rise has to allow
    facts = Facts(kind="bed", rated_w=100.0, normal_max_c=60.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=3.0)
    heater = expected(facts)
    assert heater.loss_w(0.0).least < 0.0
    assert heater.fastest_rise_k_per_s(0.0) > heater.power_w(0.0).most / heater.capacity_j_per_k.least
    assert heater.slowest_fall_k_per_s(0.0) == 0.0
