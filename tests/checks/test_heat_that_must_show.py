"""No response and hot while off, at their limits: which side is the documented one."""

from math import inf, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.plan import PrinterPlan

RESPONSE = {"gap_k": 10.0, "duty": 0.8, "below_c": 40.0, "rise_k": 3.0, "within_s": 100.0, "draft_k_per_s": 0.125, "fall_k": 10.0}
OFF = {"hot_c": 70.0, "neighbour_k": 15.0, "settle_s": 50.0, "window_s": 100.0, "fall_k": 2.0}
ELSEWHERE = {"stuck": {"heating_s": 3600.0, "cooling_s": 3600.0}}


def trips(
    values: list[float], *, target_c: float | None, duty: float | None = None, chamber_c: float | None = None, limits: dict[str, float]
) -> list[tuple[str, float]]:
    """Checks and times of the trips of a bed that is heard every second."""
    name = "hot_while_off" if "window_s" in limits else "no_response"
    heaters = (heater(limits={name: limits} | ELSEWHERE), *((heater("chamber"),) if chamber_c is not None else ()))
    engine = Engine(site(PrinterPlan("anvil", heaters, ("plug",))), 0.0)
    items = []
    for at, value in enumerate(values):
        if chamber_c is not None:
            items.append(Reading("anvil", "chamber", float(at), chamber_c + 0.1 * (at % 2), 0.0))
        items.append(Reading("anvil", "bed", float(at), value, target_c, duty))
    return [(event.check, event.at) for event in events(feed(engine, *items, Tick(items[-1].at)), "trip")]


def no_response(values: list[float], target_c: float | None = 60.0, duty: float | None = None) -> list[float]:
    found = trips(values, target_c=target_c, duty=duty, limits=RESPONSE)
    assert {check for check, _ in found} <= {"no response"}
    return [at for _, at in found]


def hot_while_off(
    values: list[float], target_c: float | None = 0.0, *, duty: float | None = None, chamber_c: float | None = None
) -> list[float]:
    found = trips(values, target_c=target_c, duty=duty, chamber_c=chamber_c, limits=OFF)
    assert {check for check, _ in found} <= {"hot while off"}
    return [at for _, at in found]


def below(value: float) -> float:
    return nextafter(value, -inf)


def above(value: float) -> float:
    return nextafter(value, inf)


def test_a_wait_met_exactly_is_over() -> None:
    assert no_response([24.0] * 101) == [100.0]
    assert no_response([24.0] * 100) == []


def test_a_rise_met_exactly_is_a_rise_and_one_ulp_less_is_none() -> None:
    assert no_response([24.0] * 50 + [27.0] * 100) == []
    assert no_response([24.0] * 50 + [below(27.0)] * 100) == [100.0]


def test_one_wild_sample_is_no_rise() -> None:
    assert no_response([24.0] * 50 + [36.0] + [24.0] * 100) == [100.0]


def test_the_gap_itself_is_much_heat() -> None:
    assert no_response([40.0] * 150, target_c=50.0) == [100.0]
    assert no_response([40.0] * 150, target_c=below(50.0)) == []


def test_above_its_limit_a_slow_rise_is_not_judged() -> None:
    assert no_response([above(40.0)] * 300) == []
    assert no_response([40.0] * 150) == [100.0]


def test_a_duty_at_the_limit_is_full_and_one_that_is_not_told_is_too() -> None:
    assert no_response([24.0] * 150, duty=0.8) == [100.0]
    assert no_response([24.0] * 150, duty=None) == [100.0]
    assert no_response([24.0] * 150, duty=below(0.8)) == []


@pytest.mark.parametrize("target_c", [None, 0.0])
def test_nothing_is_asked_of_a_heater_that_is_off_or_of_which_nothing_is_known(target_c: float | None) -> None:
    assert no_response([-15.0] * 300, target_c=target_c) == []


def test_a_fall_met_exactly_is_too_far() -> None:
    """The line sinks by 1/8 K a second: 12 seconds after 60 degC, 10 K below it is 48.5."""
    falling = [60.0 - 0.5 * place for place in range(12)]
    assert no_response([*falling, 48.5, 48.5], target_c=80.0) == []  # 48.5 was said once by then
    assert no_response([*falling[:-1], 48.5, 48.5], target_c=80.0) == [12.0]
    assert no_response([*falling[:-1], above(48.5), above(48.5)], target_c=80.0) == []


def test_a_jump_is_no_fall() -> None:
    assert no_response([60.0] * 20 + [-45.0] * 3 + [60.0] * 20, target_c=80.0) == []
    assert no_response([60.0] * 20 + [5.0] * 9 + [60.0] * 20, target_c=80.0) == []
    assert no_response([60.0] * 20 + [5.0] * 20, target_c=80.0) == [29.0]


def test_a_fall_of_a_draft_is_no_fall_however_long() -> None:
    assert no_response([80.0 - 0.125 * place for place in range(300)], target_c=100.0) == []
    assert no_response([80.0 - 0.25 * place for place in range(300)], target_c=100.0) != []


def test_a_fall_while_little_heat_is_asked_for_is_cooling() -> None:
    falling = [80.0 - 0.5 * place for place in range(60)]
    assert no_response(falling, target_c=100.0, duty=0.1) == []
    assert no_response(falling, target_c=0.0) == []
    assert no_response(falling, target_c=100.0, duty=1.0) != []


@given(st.lists(st.floats(0.0, 0.014), min_size=150, max_size=200), st.floats(-0.02, 0.0))
def test_a_rise_that_stays_under_the_limit_trips_exactly_when_the_wait_is_over(steps: list[float], drift: float) -> None:
    values = [24.0]
    for step in steps:
        values.append(values[-1] + step + drift)
    assert no_response(values) == [100.0]


@given(st.floats(0.0, 0.2), st.floats(-9.0, 30.0))
def test_a_rise_of_twice_the_slowest_never_trips(faster: float, start_c: float) -> None:
    assert no_response([start_c + (0.06 + faster) * place for place in range(300)], target_c=119.0) == []


def test_a_window_met_exactly_is_over() -> None:
    """50 s of stored heat, then 100 s in which nothing falls. The last reading that still settles comes at 49 s."""
    assert hot_while_off([85.0] * 150) == [149.0]
    assert hot_while_off([85.0] * 149) == []


def test_hot_begins_above_its_limit() -> None:
    assert hot_while_off([70.0] * 300) == []
    assert hot_while_off([above(70.0)] * 300) == [149.0]


def test_a_fall_met_exactly_is_cooling() -> None:
    def stairs(step_k: float) -> list[float]:
        return [value for stair in range(5) for value in [90.0 - step_k * stair] * 90]

    assert hot_while_off(stairs(2.0)) == []
    assert hot_while_off(stairs(1.9)) != []


def test_a_warm_neighbour_excuses_what_it_can_explain() -> None:
    assert hot_while_off([80.0] * 300, chamber_c=64.9) == []  # 65 at times: 15 K at most
    assert hot_while_off([80.2] * 300, chamber_c=64.9) != []


def test_off_is_a_target_of_zero_or_an_unknown_one_with_no_duty() -> None:
    assert hot_while_off([85.0] * 300, target_c=None) == []
    assert hot_while_off([85.0] * 300, target_c=None, duty=1.0) == []
    assert hot_while_off([85.0] * 300, target_c=None, duty=0.0) == [149.0]
    assert hot_while_off([85.0] * 300, target_c=85.0, duty=0.0) == []


@given(st.lists(st.floats(-0.2, 0.2), min_size=200, max_size=300))
def test_a_series_that_is_hotter_and_falls_less_never_trips_later(steps: list[float]) -> None:
    cooler, hotter = [85.0], [86.0]
    for step in steps:
        cooler.append(cooler[-1] + step)
        hotter.append(hotter[-1] + max(step, 0.0))
    first, second = hot_while_off(cooler), hot_while_off(hotter)
    if first:
        assert second
        assert second[0] <= first[0]
