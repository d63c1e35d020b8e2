"""A straight line through what was read, beside scipy's."""

import random

import orjson
import pytest
from scipy.stats import linregress

from watchdog.core.trend import LEAST_COUNT, Trend


@pytest.mark.parametrize(("slope", "noise_k"), [(-0.01, 0.5), (0.0, 0.1), (2.0, 1.0), (-0.002, 0.02)])
def test_slope_and_error_are_those_of_scipy(slope: float, noise_k: float, dice: random.Random) -> None:
    times = sorted(1.7e9 + dice.uniform(0.0, 300.0) for _ in range(120))
    values = [60.0 + slope * (at - 1.7e9) + dice.gauss(0.0, noise_k) for at in times]
    trend = Trend()
    for at, celsius in zip(times, values, strict=True):
        trend.add(at, celsius)
    found = trend.line()
    assert found is not None
    reference = linregress([at - times[0] for at in times], values)
    assert found[0] == pytest.approx(reference.slope, rel=1e-9)
    assert found[1] == pytest.approx(reference.stderr, rel=1e-9)
    assert trend.age_s(times[-1]) == times[-1] - times[0]


def test_too_little_tells_nothing() -> None:
    trend = Trend()
    assert trend.age_s(5.0) == 0.0
    for count in range(LEAST_COUNT):
        assert trend.line() is None
        trend.add(float(count), 60.0)
    assert trend.line() == (0.0, 0.0)
    trend.forget()
    assert trend.line() is None


def test_many_at_one_moment_are_no_line() -> None:
    trend = Trend()
    for count in range(2 * LEAST_COUNT):
        trend.add(7.0, 60.0 + count)
    assert trend.line() is None


def test_a_snapshot_goes_on_to_the_bit(dice: random.Random) -> None:
    whole, half = Trend(), Trend()
    for at in range(60):
        value = 60.0 + dice.gauss(0.0, 0.3)
        whole.add(float(at), value)
        half.add(float(at), value)
        if at == 30:
            saved = orjson.loads(orjson.dumps(half.snapshot()))
            half = Trend()
            half.restore(saved)
    assert half.line() == whole.line()
