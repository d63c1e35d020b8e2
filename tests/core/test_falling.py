"""How a slow fall is found in noise: bodies that cool as Newton's law says, T = room + excess exp(-t / tau) (Incropera, 5.1)."""

import random
from math import exp

import orjson
import pytest

from watchdog.core.falling import Falling


def after(count: int, tau_s: float, noise_k: float, dice: random.Random, excess_k: float = 40.0) -> tuple[Falling, float]:
    """The memory after so many seconds, and the true rate in the middle of what it compares."""
    falling = Falling()
    for at in range(count):
        falling.add(float(at), 22.0 + excess_k * exp(-at / tau_s) + dice.gauss(0.0, noise_k))
    return falling, excess_k / tau_s * exp(-(count - 150.0) / tau_s)


@pytest.mark.parametrize("tau_s", [1800.0, 3600.0])
@pytest.mark.parametrize("noise_k", [0.02, 0.5])
def test_the_fall_of_a_cooling_plate_is_found_in_its_noise(tau_s: float, noise_k: float, dice: random.Random) -> None:
    """The mean of 120 readings scatters by noise / 11; two of them, 120 s apart, leave 0.5 mK/s of 0.5 K."""
    falling, rate_k_per_s = after(300, tau_s, noise_k, dice)
    found = falling.rate_k_per_s(22.0, 1.0)
    assert found == pytest.approx(rate_k_per_s, rel=0.1, abs=6 * 0.0005)


def test_nothing_is_said_before_two_blocks_or_across_a_gap_or_of_what_has_risen_since() -> None:
    falling = Falling()
    for at in range(200):
        falling.add(float(at), 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) is None
    for at in range(200, 260):
        falling.add(float(at), 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) == pytest.approx(0.0)
    assert falling.rate_k_per_s(61.5, 1.0) is None
    falling.add(400.0, 60.0)
    assert falling.rate_k_per_s(60.0, 1.0) is None


def test_a_snapshot_goes_on_to_the_bit(dice: random.Random) -> None:
    values = [60.0 - 0.01 * at + dice.gauss(0.0, 0.1) for at in range(500)]
    whole, half = Falling(), Falling()
    for at, value in enumerate(values):
        whole.add(float(at), value)
        half.add(float(at), value)
        if at == 250:
            saved = orjson.loads(orjson.dumps(half.snapshot()))
            half = Falling()
            half.restore(saved)
    assert half.snapshot() == whole.snapshot()
