"""The slope against scipy, against certified values, and against exact arithmetic."""

import random
from collections.abc import Callable, Iterable
from fractions import Fraction
from math import sqrt

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from watchdog.core.observer import CAPACITY, Observer

# NIST Statistical Reference Datasets, linear regression, data set "Norris", with its certified slope.
NORRIS_SLOPE = 1.00211681802045
NORRIS = [
    (0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2), (226.5, 228.1), (666.3, 668.5), (996.3, 998.5),
    (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (0.4, 0.3), (0.6, 0.1), (775.5, 778.1), (666.9, 668.8), (338.0, 339.3),
    (447.5, 448.9), (11.6, 10.8), (556.0, 557.7), (228.1, 228.3), (995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (0.3, 0.3),
    (0.3, 0.6), (556.8, 557.6), (339.1, 339.3), (887.2, 888.0), (999.0, 998.5), (779.0, 778.9), (11.1, 10.2), (118.3, 117.6),
    (229.2, 228.9), (669.1, 668.4), (448.9, 449.2), (0.5, 0.2),
]  # fmt: skip

Samples = list[tuple[float, float]]


def observed(samples: Iterable[tuple[float, float]], window_s: float = 60.0) -> Observer:
    observer = Observer(window_s)
    for at, temperature_c in samples:
        observer.add(at, temperature_c)
    return observer


def exact(samples: Samples) -> float:
    """Least squares in rational numbers."""
    pairs = [(Fraction(at), Fraction(value)) for at, value in samples]
    n = len(pairs)
    mean_t, mean_y = sum(t for t, _ in pairs) / n, sum(y for _, y in pairs) / n
    return float(sum((t - mean_t) * (y - mean_y) for t, y in pairs) / sum((t - mean_t) ** 2 for t, _ in pairs))


def in_window(samples: Samples, window_s: float) -> Samples:
    """What the observer keeps: the window, and no more than its capacity."""
    return [sample for sample in samples if sample[0] >= samples[-1][0] - window_s][-CAPACITY:]


def test_norris_certified_slope_to_ten_digits() -> None:
    assert observed(sorted(NORRIS), window_s=1e4).slope_k_per_s() == pytest.approx(NORRIS_SLOPE, rel=1e-10)


def test_a_small_example_worked_by_hand() -> None:
    temperatures = [25.0, 25.1, 25.3, 25.2, 25.5, 25.6, 25.5, 25.8, 25.9, 26.0]
    assert observed(enumerate(temperatures)).slope_k_per_s() == pytest.approx(0.1096969697, abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(0.05, 12.0), st.floats(-40.0, 500.0)), min_size=6, max_size=80),
    st.floats(0.0, 2e9),
)
def test_any_series_has_the_slope_that_scipy_gives(steps: list[tuple[float, float]], start: float) -> None:
    at, samples = start, []
    for step_s, temperature_c in steps:
        at += step_s
        samples.append((at, temperature_c))
    kept = in_window(samples, 60.0)
    found = observed(samples).slope_k_per_s()
    if len(kept) < 5:
        assert found is None
        return
    shifted = [when - kept[0][0] for when, _ in kept]
    assert found == pytest.approx(stats.linregress(shifted, [value for _, value in kept]).slope, rel=1e-6, abs=1e-7)


def test_the_standard_error_of_a_slope_is_what_the_formula_says(dice: random.Random, long_count: Callable[[int, int], int]) -> None:
    """SE = (s / dt) sqrt(12 / (n (n^2 - 1))) for n readings dt apart with noise s: 7.4546e-4 K/s for 60 readings of 0.1 K."""
    n, noise_k = 60, 0.1
    expected = noise_k * sqrt(12.0 / (n * (n * n - 1)))
    assert expected == pytest.approx(7.45460e-4, rel=1e-5)
    count = long_count(200, 5000)
    slopes = [observed((float(at), dice.gauss(60.0, noise_k)) for at in range(n)).slope_k_per_s() or 0.0 for _ in range(count)]
    found = sqrt(sum(slope * slope for slope in slopes) / count)
    assert found == pytest.approx(expected, rel=5.0 / sqrt(2.0 * count))


@pytest.mark.parametrize("period_s", [0.1, 1.0, 2.5, 12.0])
def test_running_sums_on_absolute_time_stay_exact(dice: random.Random, long_count: Callable[[int, int], int], period_s: float) -> None:
    """Without re-basing, sums over times since 1970 lose up to 0.058 K/s."""
    at, samples, observer = 1.79e9, [], Observer()
    for place in range(long_count(3000, 60_000)):
        at += period_s * dice.uniform(0.5, 1.5)
        samples.append((at, 60.0 + 20.0 * dice.random()))
        observer.add(*samples[-1])
        if place % 97 == 96:
            found = observer.slope_k_per_s()
            kept = in_window(samples[-CAPACITY - 1 :], 60.0)
            assert (found is None) == (len(kept) < 5)
            if found is not None:
                assert abs(found - exact(kept)) < 1e-9


def test_after_a_week_it_is_as_exact_as_on_the_first_day() -> None:
    observer, samples = Observer(), [(12.0 * place, 20.0 + (place * 7919) % 1000 / 10.0) for place in range(50_000)]
    for at, temperature_c in samples:
        observer.add(at, temperature_c)
    found = observer.slope_k_per_s()
    assert found is not None
    assert abs(found - exact(in_window(samples[-CAPACITY:], 60.0))) < 1e-9


def test_the_ring_wraps_and_keeps_the_newest() -> None:
    samples = [(place * 0.05, 20.0 + 0.001 * place * place % 7) for place in range(3 * CAPACITY + 17)]
    found = observed(samples).slope_k_per_s()
    assert found is not None
    assert abs(found - exact(samples[-CAPACITY:])) < 1e-9


def test_what_is_older_than_the_window_is_forgotten() -> None:
    rising = [(float(at), 20.0 + at) for at in range(200)]
    steady = [(float(at), 219.0) for at in range(200, 262)]
    assert observed([*rising, *steady]).slope_k_per_s() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "samples",
    [[], [(0.0, 20.0)], [(float(at), 20.0) for at in range(4)], [(5.0, 20.0)] * 8],
    ids=["none", "one", "four", "all at one moment"],
)
def test_too_little_gives_no_slope(samples: Samples) -> None:
    assert observed(samples).slope_k_per_s() is None


def test_a_gap_longer_than_the_window_begins_anew() -> None:
    observer = observed([*((float(at), 20.0 + at) for at in range(50)), *((1000.0 + at, 50.0) for at in range(5))])
    assert observer.slope_k_per_s() == pytest.approx(0.0, abs=1e-12)


def test_the_period_follows_the_source() -> None:
    assert observed([(0.0, 20.0)]).period_s is None
    observer = observed((2.0 * at, 20.0) for at in range(10))
    assert observer.period_s == pytest.approx(2.0)
    for at in range(60):
        observer.add(20.0 + 5.0 * at, 20.0)
    assert observer.period_s == pytest.approx(5.0, abs=0.02)


@given(st.lists(st.tuples(st.floats(0.01, 5.0), st.floats(-40.0, 500.0)), max_size=60), st.integers(0, 700))
def test_a_restored_observer_gives_the_same_bits(steps: list[tuple[float, float]], before: int) -> None:
    observer = observed((float(at) * 0.09, 20.0 + at % 13) for at in range(before))
    restored = Observer()
    restored.restore(orjson.loads(orjson.dumps(observer.snapshot())))
    at = before * 0.09
    for step_s, temperature_c in steps:
        at += step_s
        observer.add(at, temperature_c)
        restored.add(at, temperature_c)
        assert restored.slope_k_per_s() == observer.slope_k_per_s()
        assert restored.period_s == observer.period_s
    assert restored.snapshot() == observer.snapshot()


def test_a_lone_wild_sample_is_left_out_of_the_slope_once_the_next_one_denies_it() -> None:
    def slope(wild_c: float) -> float | None:
        observer = Observer(60.0, 5.0)
        for at in range(40):
            observer.add(float(at), wild_c if at == 30 else 80.0 - 0.1 * at)
        return observer.slope_k_per_s()

    assert slope(999.0) == pytest.approx(-0.1, abs=0.001)
    assert slope(-50.0) == pytest.approx(-0.1, abs=0.001)


def test_a_jump_that_stays_is_no_wild_sample() -> None:
    with_denial, without = Observer(60.0, 5.0), Observer(60.0)
    for at in range(40):
        for observer in (with_denial, without):
            observer.add(float(at), 20.0 if at < 20 else 90.0)
    assert with_denial.slope_k_per_s() == without.slope_k_per_s()
