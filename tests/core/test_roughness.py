"""What is learnt of a sensor's noise and resolution, against values from outside."""

import random
from collections.abc import Callable
from math import cos, exp, sqrt
from statistics import fmean

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.core.roughness import Roughness


def learnt(values: list[float]) -> Roughness:
    roughness = Roughness()
    for value in values:
        roughness.add(value)
    return roughness


SENSORS = 40
"""One sensor scatters by 5 to 14 % around what is found on average; the mean of so many by 1 to 2 %, far inside every bound here."""


def shows(values: list[float]) -> bool:
    """Noise of half a step at least."""
    return (learnt(values).lively_steps or 0.0) >= 0.5


def mean_noise_k(values: Callable[[], list[float]]) -> float:
    """What is found on average for many sensors alike; one of which nothing is said counts as no noise."""
    return fmean(learnt(values()).noise_k or 0.0 for _ in range(SENSORS))


@pytest.mark.parametrize("sigma_k", [0.02, 0.1, 0.5])
def test_the_noise_of_a_fine_sensor_is_found_within_a_tenth(sigma_k: float, dice: random.Random) -> None:
    """White noise; E|x - y| = 2 sigma / sqrt(pi) for independent normal values (scipy.stats.norm, halfnorm mean)."""
    found_k = mean_noise_k(lambda: [60.0 + dice.gauss(0.0, sigma_k) for _ in range(1600)])
    assert found_k == pytest.approx(sigma_k, rel=0.1)


def test_noise_and_quantisation_add_up(dice: random.Random) -> None:
    """sqrt(sigma^2 + q^2/12): sigma 0.1, q 0.25 give 0.1233 K (quantisation noise q/sqrt 12, Widrow)."""

    def values() -> list[float]:
        return [round((60.0 + dice.gauss(0.0, 0.1)) / 0.25) * 0.25 for _ in range(3200)]

    assert mean_noise_k(values) == pytest.approx(sqrt(0.1**2 + 0.25**2 / 12.0), rel=0.3)
    assert learnt(values()).resolution_k(60.0) == pytest.approx(0.25)


@pytest.mark.parametrize("step_k", [0.05, 0.3, 2.0])
def test_a_ramp_of_a_quiet_coarse_sensor_teaches_no_noise(step_k: float) -> None:
    found = learnt([round((20.0 + step_k * place) / 0.5) * 0.5 for place in range(640)])
    assert found.noise_k is None or found.noise_k < 0.5 * 0.5


def test_a_heat_up_before_the_hold_does_not_make_a_quiet_sensor_look_noisy(dice: random.Random) -> None:
    heat_up = [218.0 - 196.0 * 0.97**place for place in range(160)]
    hold = [218.0 + dice.gauss(0.0, 0.02) for _ in range(320)]
    found = learnt([round(value / 0.1) * 0.1 for value in heat_up + hold])
    assert found.noise_k is None or found.noise_k < 0.5 * 0.1


def test_a_stuck_sensor_does_not_unlearn_its_noise(dice: random.Random) -> None:
    noisy = [60.0 + round(dice.gauss(0.0, 0.1), 2) for _ in range(320)]
    before, after = learnt(noisy), learnt(noisy + [60.0] * 1000)
    assert before.noise_k is not None
    assert after.noise_k == pytest.approx(before.noise_k, rel=0.2)


def test_glitches_teach_nothing(dice: random.Random) -> None:
    found_k = mean_noise_k(lambda: [999.0 if place % 40 == 7 else 60.0 + dice.gauss(0.0, 0.1) for place in range(1600)])
    assert found_k == pytest.approx(0.1, rel=0.1)


def test_nothing_is_said_before_three_calm_blocks() -> None:
    assert learnt([60.0, 60.1] * 20).noise_k is None
    assert learnt([60.0, 60.1] * 30).noise_k is not None


def test_a_snapshot_goes_on_to_the_bit(dice: random.Random) -> None:
    values = [60.0 + dice.gauss(0.0, 0.1) for _ in range(200)]
    whole, first = learnt(values), learnt(values[:77])
    second = Roughness()
    second.restore(orjson.loads(orjson.dumps(first.snapshot())))
    for value in values[77:]:
        second.add(value)
    assert second.snapshot() == whole.snapshot()


def test_noise_shows_in_a_heat_up_before_anything_is_held(dice: random.Random) -> None:
    """Second differences leave a ramp out: their standard deviation is sqrt(6) of that of white noise (1, -2, 1; variances add)."""
    found_k = mean_noise_k(lambda: [round((20.0 + 0.2 * place + dice.gauss(0.0, 0.2)) / 0.1) * 0.1 for place in range(100)])
    assert found_k == pytest.approx(0.2, rel=0.4)


@given(st.floats(0.01, 0.24), st.sampled_from([0.05, 0.1, 0.25]))
def test_no_ramp_of_a_quiet_sensor_bends_like_noise(rate_k: float, step_k: float) -> None:
    found = learnt([round((20.0 + rate_k * place) / step_k) * step_k for place in range(200)])
    assert found.noise_k is None or found.noise_k < 0.65 * step_k


@pytest.mark.parametrize("steps", [0.05, 0.2])
@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5])
def test_hardly_any_noise_looks_like_less_than_half_a_step_wherever_it_rests(steps: float, phase: float, dice: random.Random) -> None:
    """At the edge between two values every other reading hops: 0.5 steps a reading on average, 0.44 as noise."""
    for _ in range(SENSORS):
        found = learnt([round(80.0 + phase + dice.gauss(0.0, steps)) for _ in range(1600)])
        assert found.noise_k is None or found.noise_k < 0.5


def test_noise_of_a_step_shows_and_a_controller_that_settles_does_not(dice: random.Random) -> None:
    """A loop rings out over 30 readings, hops for as long, and rests: a row of equal readings is no fault then."""
    rings = [round(4.0 * (210.0 + 3.0 * exp(-place / 8.0) * cos(2.2 * place))) / 4.0 for place in range(64)]
    assert not shows(rings)
    for sigma in (0.75, 1.0):
        shown = [shows([round(60.0 + dice.gauss(0.0, sigma)) for _ in range(400)]) for _ in range(SENSORS)]
        assert fmean(shown) > 0.95


def test_what_rests_shows_no_noise_any_more_and_what_froze_does(dice: random.Random) -> None:
    """Wherever in a block it freezes: the block before tells of its noise."""
    froze = []
    for until in range(384, 384 + SENSORS):
        noisy = [float(round(60.0 + dice.gauss(0.0, 0.8))) for _ in range(until)]
        assert not shows([*noisy, *([60.0] * 14 + [61.0] * 2) * 4])
        froze.append(shows([*noisy, *[noisy[-1]] * 200]))
    assert fmean(froze) > 0.9
