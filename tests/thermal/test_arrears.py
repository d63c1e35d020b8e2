"""The debt of a heater: what owes nothing, what does, and that gaps, wild samples and restarts change nothing."""

from random import Random

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.thermal.arrears import Arrears
from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts

LAG_S = 15.0
HEATERS = [
    Facts(kind="bed", rated_w=750.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=4.0),
    Facts(
        kind="bed", rated_w=200.0, normal_max_c=80.0, harm_c=130.0, width_mm=220.0, depth_mm=220.0, plate_mm=1.6,
        plate_material="circuit board", face_mm=0.8, face_material="spring steel",
    ),
    Facts(kind="hotend", rated_w=60.0, normal_max_c=270.0, harm_c=310.0, block_g=10.0),
]  # fmt: skip
EXPECTED = [found for found in map(expectations, HEATERS) if found is not None]
HEATER = st.sampled_from(EXPECTED)
STEPS_S = st.lists(st.floats(0.2, 60.0), min_size=8, max_size=60)
VALUES_C = st.lists(
    st.tuples(st.floats(0.0, 30.0), st.floats(-50.0, 400.0), st.floats(0.0, 1.0)), min_size=1, max_size=60
)  # seconds since the last one, degrees Celsius, duty


def slowest_path(heater: Expectations, steps_s: list[float], faster: float = 1.0, duty: float = 1.0) -> list[tuple[float, float]]:
    """Times and temperatures of a heater that does just what physics demand, or is `faster` than that where it rises."""
    at, celsius, path = 0.0, 22.0, [(0.0, 22.0)]
    for step_s in steps_s:
        pieces = max(20, int(step_s / 0.05))
        for _ in range(pieces):
            rate = heater.slowest_rise_k_per_s(celsius, duty)
            celsius += rate * (faster if rate > 0.0 else 1.0) * step_s / pieces
        at += step_s
        path.append((at, celsius))
    return path


def debts(heater: Expectations, path: list[tuple[float, float]], duty: float = 1.0, lag_s: float = LAG_S) -> list[float]:
    arrears = Arrears()
    return [arrears.add(at, celsius, duty, heater, lag_s) for at, celsius in path]


@given(heater=HEATER, values=VALUES_C)
def test_a_debt_is_never_negative(heater: Expectations, values: list[tuple[float, float, float]]) -> None:
    arrears, at = Arrears(), 0.0
    for later_s, celsius, duty in values:
        at += later_s
        assert arrears.add(at, celsius, duty, heater, LAG_S) >= 0.0


@given(heater=HEATER, steps_s=STEPS_S, faster=st.floats(1.0, 3.0), duty=st.floats(0.1, 1.0))
def test_a_heater_that_rises_at_least_as_the_slowest_never_owes(
    heater: Expectations, steps_s: list[float], faster: float, duty: float
) -> None:
    """However unevenly it is heard: a gap is no debt."""
    assert max(debts(heater, slowest_path(heater, steps_s, faster, duty), duty)) == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("gap_s", [20.0, 40.0, 150.0])
def test_a_gap_in_the_middle_of_heating_up_is_no_debt(gap_s: float) -> None:
    heater = EXPECTED[0]
    path = slowest_path(heater, [1.0] * 60 + [gap_s] + [1.0] * 30)
    assert heater.slowest_rise_k_per_s(30.0) * gap_s > 7.0, "it was owed at once before the reading that pays for it counted"
    assert max(debts(heater, path)) == pytest.approx(0.0, abs=0.01)


@given(heater=HEATER, share=st.floats(0.0, 0.8), standing_s=st.integers(20, 300))
def test_a_heater_that_is_too_slow_owes_the_difference(heater: Expectations, share: float, standing_s: int) -> None:
    """Within a quarter of a second's grid: what was demanded, less what came, from the end of the lag on."""
    rate = heater.slowest_rise_k_per_s(30.0)
    path = [(float(second), 30.0 + 1e-6 * share * rate * second) for second in range(round(LAG_S) + standing_s)]
    assert debts(heater, path)[-1] == pytest.approx(rate * (standing_s - 2), rel=0.01, abs=rate)


def test_nothing_is_owed_while_heat_is_on_its_way() -> None:
    heater = EXPECTED[0]
    path = [(float(second), 30.0) for second in range(60)]
    owed = debts(heater, path, lag_s=40.0)
    assert max(owed[:41]) == 0.0
    assert owed[-1] == pytest.approx(heater.slowest_rise_k_per_s(30.0) * 18.0, rel=0.1)
    seldom = debts(heater, [(0.0, 30.0), (60.0, 30.0), (120.0, 30.0), (180.0, 30.0), (240.0, 30.0)], lag_s=40.0)
    assert seldom[:3] == [0.0, 0.0, 0.0]


@given(
    heater=HEATER,
    count=st.integers(20, 80),
    place=st.integers(0, 79),
    wild_c=st.sampled_from((0.0, 999.0, -50.0, 850.0)),
    standing=st.booleans(),
)
def test_a_wild_sample_shifts_a_debt_by_no_more_than_one_interval(
    heater: Expectations, count: int, place: int, wild_c: float, *, standing: bool
) -> None:
    """Wherever it comes, also as the first of all. A high one pays early, which the very slowest heater cannot make up for."""
    steps_s = [7.0] * count
    path = [(7.0 * number, 30.0) for number in range(count)] if standing else slowest_path(heater, steps_s)[:count]
    spoilt = list(path)
    place %= count - 3
    spoilt[place] = (path[place][0], wild_c)
    clean, dirty = debts(heater, path), debts(heater, spoilt)
    interval_k = heater.slowest_rise_k_per_s(22.0) * 7.0
    for one, other in zip(clean, dirty, strict=True):
        assert abs(one - other) <= interval_k + 0.05
    if standing:
        assert dirty[-1] == pytest.approx(clean[-1], abs=interval_k + 0.05)
        assert dirty[-1] > interval_k


@given(heater=HEATER, values=VALUES_C, cut=st.integers(0, 59))
def test_a_snapshot_goes_on_as_the_whole(heater: Expectations, values: list[tuple[float, float, float]], cut: int) -> None:
    whole, part = Arrears(), Arrears()
    at = 0.0
    for number, (later_s, celsius, duty) in enumerate(values):
        at += later_s
        if number == cut:
            saved = orjson.loads(orjson.dumps(part.snapshot()))
            part = Arrears()
            part.restore(saved)
        assert part.add(at, celsius, duty, heater, LAG_S) == whole.add(at, celsius, duty, heater, LAG_S)
    assert part.snapshot() == whole.snapshot()


def test_a_snapshot_may_be_taken_before_the_first_reading() -> None:
    fresh, other = Arrears(), Arrears()
    other.restore(orjson.loads(orjson.dumps(fresh.snapshot())))
    assert other.snapshot() == fresh.snapshot()


def test_a_debt_is_forgotten_when_no_heat_is_asked_for() -> None:
    heater = EXPECTED[0]
    arrears = Arrears()
    for second in range(60):
        arrears.add(float(second), 30.0, 1.0, heater, LAG_S)
    assert arrears.behind_k > 5.0
    arrears.clear()
    assert arrears.behind_k == 0.0
    assert [arrears.add(60.0 + second, 30.0, 1.0, heater, LAG_S) for second in range(15)] == [0.0] * 15


def test_noise_around_a_target_that_is_held_is_no_debt(dice: Random) -> None:
    """A hotend at its target: duty and reading both wobble, and messages come at odd times."""
    heater = EXPECTED[2]
    arrears, at, worst_k = Arrears(), 0.0, 0.0
    holds = (heater.loss_w(200.0).usual + 2.0) / heater.power_w(200.0).usual
    for _ in range(2000):
        at += dice.choice((0.5, 1.0, 1.0, 2.0, 20.0))
        duty = min(1.0, max(0.0, dice.gauss(holds, 0.2)))
        worst_k = max(worst_k, arrears.add(at, 200.0 + dice.gauss(0.0, 0.3), duty, heater, LAG_S))
    assert worst_k < 5.0


def test_of_two_duties_around_a_gap_the_lower_one_counts() -> None:
    """A source that reports on change was silent at little duty; full duty has only just been asked for."""
    heater = EXPECTED[0]
    arrears = Arrears()
    for second in range(60):
        arrears.add(float(second), 60.0, 0.0, heater, LAG_S)
    owed = [arrears.add(120.0 + second, 60.0, 1.0, heater, LAG_S) for second in range(5)]
    assert owed[1] == 0.0, "a minute at full duty would be 20 K"
    assert owed[-1] == pytest.approx(3.0 * heater.slowest_rise_k_per_s(60.0), rel=0.01)


@pytest.mark.parametrize("wild", [(-50.0, 0.0), (0.0, -50.0), (20.0, 999.0, 10.0)])
def test_two_wild_ones_that_differ_are_no_fall_once_it_is_back(wild: tuple[float, ...]) -> None:
    path = list(enumerate([*[69.5] * 60, *wild, *[69.5] * 20]))
    assert debts(EXPECTED[0], [(float(at), celsius) for at, celsius in path], duty=0.2)[-1] < 5.0


def test_a_fall_that_is_not_taken_back_is_owed() -> None:
    path = list(enumerate([*[69.5] * 60, *[20.0] * 30]))
    assert debts(EXPECTED[0], [(float(at), celsius) for at, celsius in path], duty=0.2)[-1] > 45.0
