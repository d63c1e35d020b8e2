"""How a slow fall is found in noise: bodies that cool as Newton's law says, T = room + excess exp(-t / tau) (Incropera, 5.1)."""

import random
from math import exp

import orjson
import pytest

from watchdog.core.falling import Falling


@pytest.mark.parametrize("tau_s", [1800.0, 3600.0])
@pytest.mark.parametrize("noise_k", [0.02, 0.5])
def test_the_fall_of_a_cooling_plate_is_found_in_its_noise(tau_s: float, noise_k: float, dice: random.Random) -> None:
    """The mean of 120 readings scatters by noise / 11; the top of 300 lies up to four times the noise too high, 7 mK/s at most."""
    falling, excess_k = Falling(), 40.0
    for at in range(300):
        value = 22.0 + excess_k * exp(-at / tau_s) + dice.gauss(0.0, noise_k)
        falling.add(float(at), value, value)
    found = falling.rate_k_per_s(22.0 + excess_k * exp(-300.0 / tau_s), 4.0 * noise_k)
    assert found == pytest.approx(excess_k / tau_s * exp(-150.0 / tau_s), rel=0.15, abs=0.001 + 4.0 * noise_k / 300.0)


def test_a_fall_from_its_top_is_found_within_a_minute() -> None:
    """Heated until 20 s after it was switched off, then 1.5 K less in 20 s: steps of half a kelvin, one in 10 s."""
    falling = Falling()
    for at, value in enumerate([67.5, 68.0, 69.0, 69.5, 70.0, 69.5, 69.0, 68.5, 68.0]):
        falling.add(10.0 * at, value, value)
    assert falling.rate_k_per_s(68.0, 0.3) == pytest.approx(2.0 / 40.0)
    assert falling.rate_k_per_s(68.5, 0.3) == 0.0  # it has risen since
    assert falling.rate_k_per_s(68.0, 0.7) == 0.0  # and two readings of one temperature may differ by so much


def test_nothing_is_said_before_two_blocks_or_across_a_gap_or_of_what_has_risen_since() -> None:
    falling = Falling()
    for at in range(200):
        falling.add(float(at), 60.0, 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) == 0.0
    for at in range(200, 260):
        falling.add(float(at), 60.0, 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) == pytest.approx(0.0)
    assert falling.rate_k_per_s(61.5, 1.0) == 0.0
    falling.add(400.0, 60.0, 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) == 0.0


def test_a_snapshot_goes_on_to_the_bit(dice: random.Random) -> None:
    values = [60.0 - 0.01 * at + dice.gauss(0.0, 0.1) for at in range(500)]
    whole, half = Falling(), Falling()
    for at, value in enumerate(values):
        whole.add(float(at), value, value)
        half.add(float(at), value, value)
        if at == 250:
            saved = orjson.loads(orjson.dumps(half.snapshot()))
            half = Falling()
            half.restore(saved)
    assert half.snapshot() == whole.snapshot()
