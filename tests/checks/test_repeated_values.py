"""How many equal readings are no chance, and when the stuck check may say so."""

import random
from collections.abc import Callable
from math import cos, exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed
from rig.plans import heater, site
from scipy.stats import norm

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.plan import PrinterPlan
from watchdog.core.roughness import NO_CHANCE, Roughness, equal_by_chance


def found(values: list[float], target_c: float, kind: str, step_s: float = 1.0) -> list[tuple[str, float]]:
    """Checks and times of what a bed hears of its readings: trips or advice."""
    engine = Engine(site(PrinterPlan("anvil", (heater(interval_s=2.0 * step_s),), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", place * step_s, value, target_c) for place, value in enumerate(values)]
    return [(event.check, event.at) for event in events(feed(engine, *items, Tick(items[-1].at)), kind)]


def quantised(dice: random.Random, count: int, sigma_k: float, step_k: float, centre_c: float = 60.0) -> list[float]:
    return [round((centre_c + dice.gauss(0.0, sigma_k)) / step_k) * step_k for _ in range(count)]


@pytest.mark.parametrize(("noise_steps", "thirty", "sixty"), [(0.25, 0.2591, 0.0641), (0.5, 1.56e-5, 1.7e-10), (1.0, 8e-13, None)])
def test_the_handbook_chance_of_equal_readings(noise_steps: float, thirty: float, sixty: float | None) -> None:
    """Normal noise, the mean in the middle of a step (scipy.stats.norm): 30 (60) readings equal the first one by chance."""
    further = float(norm.cdf(0.5, scale=noise_steps) - norm.cdf(-0.5, scale=noise_steps))
    assert further**29 == pytest.approx(thirty, rel=0.03)
    if sixty is not None:
        assert further**59 == pytest.approx(sixty, rel=0.03)


@given(st.floats(0.5, 20.0))
def test_the_longest_row_by_chance_has_exactly_that_chance(noise_steps: float) -> None:
    further = float(norm.cdf(0.5, scale=noise_steps) - norm.cdf(-0.5, scale=noise_steps))
    assert further ** (equal_by_chance(noise_steps) - 1.0) == pytest.approx(NO_CHANCE, rel=1e-6)


def test_more_noise_never_needs_more_readings() -> None:
    needed = [equal_by_chance(0.5 * 1.1**place) for place in range(200)]
    assert needed == sorted(needed, reverse=True)
    assert needed[0] == pytest.approx(61.3, abs=0.1)
    assert equal_by_chance(1.0) == pytest.approx(25.0, abs=0.1)
    assert needed[-1] > 1.0  # one value alone is never a row


@pytest.mark.parametrize("noise_steps", [0.05, 0.2, 0.35, 0.45, 0.5, 0.7, 1.0, 3.0])
def test_a_healthy_sensor_never_repeats_itself_for_so_long(
    noise_steps: float, dice: random.Random, long_count: Callable[[int, int], int]
) -> None:
    """Hours of each: its mean wanders through the steps, and no row is longer than what its own estimate allows."""
    roughness, last, count = Roughness(), -1.0, 0
    for place in range(long_count(6_000, 100_000)):
        centre = 0.5 * abs((place % 1200) - 600) / 600.0
        value = float(round(centre + dice.gauss(0.0, noise_steps)))
        count = count + 1 if value == last else 1
        last = value
        shown = roughness.lively_steps
        if shown is not None and shown >= 0.5:
            assert count < equal_by_chance(shown)
        roughness.add(value)


@pytest.mark.parametrize("step_s", [0.5, 1.0, 2.0, 5.0])
def test_a_noisy_sensor_that_freezes_at_its_target_is_found(step_s: float, dice: random.Random) -> None:
    healthy = [*quantised(dice, 199, 0.1, 0.1), 60.2]  # the row begins where it freezes, and not by chance before
    trips = found([*healthy, *[60.0] * 400], 60.0, "trip", step_s)
    assert [check for check, _ in trips] == ["stuck"]
    frozen_s = trips[0][1] - 199.0 * step_s
    assert max(60.0, 20.0 * step_s) <= frozen_s <= max(60.0, 40.0 * step_s) + 2.0 * step_s


def test_a_quiet_sensor_that_repeats_itself_at_its_target_says_nothing(dice: random.Random) -> None:
    healthy = quantised(dice, 200, 0.02, 0.5)
    assert found([*healthy, *[60.0] * 1800], 60.0, "trip") == []


def test_noise_that_is_known_shortens_the_wait_in_the_heat_up(dice: random.Random) -> None:
    ramp = [round((42.0 + 0.02 * place + dice.gauss(0.0, 0.2)) / 0.1) * 0.1 for place in range(300)]
    frozen = [*ramp, *[ramp[-1]] * 200]
    quiet = [round(42.0 + 0.05 * place, 2) for place in range(300)]
    assert [(check, at <= 375.0) for check, at in found(frozen, 100.0, "trip")] == [("stuck", True)]
    assert [(check, at >= 440.0) for check, at in found([*quiet, *[quiet[-1]] * 200], 100.0, "trip")] == [("stuck", True)]


def test_a_row_that_began_before_heat_was_asked_for_owes_nothing_for_that_time() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", float(at), 35.0, 0.0 if at < 600 else 100.0) for at in range(800)]
    assert [event.at for event in events(feed(engine, *items), "trip")] == [750.0]


def test_a_cold_heater_that_repeats_itself_gets_one_advice_and_no_cut(dice: random.Random) -> None:
    values = [*quantised(dice, 200, 0.1, 0.1, 22.0), *[22.0] * 2000]
    assert found(values, 0.0, "trip") == []
    assert [check for check, _ in found(values, 0.0, "advice")] == ["stuck"]


def converted(dice: random.Random, celsius: float, noise_counts: float) -> float:
    """What a 12-bit converter makes of a thermistor of 100 kilohm at 25 degC (B 3950 K) over 4.7 kilohm, by the Beta formula.

    A step is 0.05 K at 60 degC, 0.04 K at 120 and 0.35 K at 265: IEC 60539-1 defines B; the circuit is common practice.
    """
    ohm = 1e5 * exp(3950.0 * (1.0 / (celsius + 273.15) - 1.0 / 298.15))
    count = round(4095.0 * ohm / (ohm + 4700.0) + dice.gauss(0.0, noise_counts))
    read_ohm = 4700.0 * count / (4095.0 - count)
    return round(1.0 / (log(read_ohm / 1e5) / 3950.0 + 1.0 / 298.15) - 273.15, 2)


@pytest.mark.parametrize("noise_counts", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("creeps_k", [0.0, 0.5, 1.5])
def test_a_quiet_converter_whose_steps_grow_with_its_temperature_is_not_taken_for_a_noisy_one(
    noise_counts: float, creeps_k: float, dice: random.Random
) -> None:
    """While it is idle and on its way up it shows far finer steps than where it is held; there its loop creeps and rings out."""
    rest = [0.2 * exp(-at / 300.0) * cos(at / 6.0) - creeps_k * exp(-at / 600.0) for at in range(1200)]
    for offset_k in (0.0, 0.06, 0.12, 0.18, 0.24, 0.3):
        true_c = [25.0] * 300 + [25.0 + 0.8 * at for at in range(300)] + [265.0 + offset_k + off_k for off_k in rest]
        values = [converted(dice, celsius, noise_counts) for celsius in true_c]
        engine = Engine(site(PrinterPlan("anvil", (heater("hotend", interval_s=1.0),), ("plug",))), 0.0)
        items = [Reading("anvil", "hotend", 0.5 * at, value, 0.0 if at < 300 else 265.0) for at, value in enumerate(values)]
        assert events(feed(engine, *items), "trip") == []


def test_a_noisy_converter_that_freezes_where_its_steps_are_large_is_found(dice: random.Random) -> None:
    true_c = [25.0 + 240.0 * min(1.0, place / 150.0) for place in range(600)]
    values = [converted(dice, celsius, 1.0) for celsius in true_c]
    engine = Engine(site(PrinterPlan("anvil", (heater("hotend"),), ("plug",))), 0.0)
    (trip,) = events(
        feed(engine, *(Reading("anvil", "hotend", float(at), value, 265.0) for at, value in enumerate([*values, *[values[-1]] * 120]))),
        "trip",
    )
    assert (trip.check, trip.at <= 680.0) == ("stuck", True)


@pytest.mark.parametrize("target_c", [0.0, None])
def test_noise_that_ends_while_it_is_off_and_warm_is_a_fault_and_while_it_is_cold_an_advice(
    target_c: float | None, dice: random.Random
) -> None:
    def heard(from_c: float, freezes_c: float) -> list[tuple[str, str]]:
        values = [round(from_c - 0.02 * at + dice.gauss(0.0, 0.15), 2) for at in range(300)] + [freezes_c] * 200
        engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",))), 0.0)
        outputs = feed(engine, *(Reading("anvil", "bed", float(at), value, target_c) for at, value in enumerate(values)))
        return [
            (str(event.kind), event.check) for event in [*events(outputs, "trip"), *events(outputs, "advice")] if event.check == "stuck"
        ]

    assert heard(66.0, 60.1) == [("trip", "stuck")]
    assert heard(40.0, 33.9) == [("advice", "stuck")]


@pytest.mark.parametrize(
    ("pitch_k", "kind", "hold_c"), [(0.2, "bed", 60.0), (0.3, "bed", 100.0), (1.0, "hotend", 220.0), (1.5, "hotend", 260.0)]
)
@pytest.mark.parametrize("noise_counts", [0.08, 0.12])
def test_a_converter_that_averages_and_dwells_in_the_middle_of_a_count_is_not_stuck(
    pitch_k: float, kind: str, hold_c: float, noise_counts: float
) -> None:
    """Counts of little noise, the mean of 16 of them, rounded to 0.01 K: fine steps at the edges, one value in between (common practice).

    A bed holds to 0.1 K and a hotend to 0.3 K, and wander there within minutes. The same chance in each run: one in some hundreds
    that never rested before still looks noisy when it first does.
    """
    dice = random.Random(1)

    def read(celsius: float) -> float:
        return round(pitch_k * sum(round(celsius / pitch_k + dice.gauss(0.0, noise_counts)) for _ in range(16)) / 16.0, 2)

    swing_k, rate = (0.1, 0.3) if kind == "bed" else (0.3, 2.0)
    for offset in (0.0, 0.2, 0.4, 0.6, 0.8):
        engine = Engine(site(PrinterPlan("anvil", (heater(kind),), ("plug",))), 0.0)
        rise_s = round((hold_c - 25.0) / rate)
        target_c = hold_c + pitch_k * offset
        rises = [target_c - (target_c - 25.0) * exp(-3.0 * at / rise_s) for at in range(2 * rise_s)]
        holds = [target_c + swing_k * (cos(at / 150.0) + 0.5 * cos(at / 37.0)) for at in range(2400)]
        items = [Reading("anvil", kind, float(at), read(celsius), target_c) for at, celsius in enumerate([*rises, *holds])]
        assert [event.sentence for event in events(feed(engine, *items), "trip") if event.check == "stuck"] == []


def test_what_stood_still_while_it_was_off_and_cold_is_not_cut_the_moment_heat_is_asked_for(dice: random.Random) -> None:
    values = [*quantised(dice, 200, 0.1, 0.1, 22.0), *[22.0] * 300, *[22.0] * 20, *(22.0 + 0.3 * at for at in range(60))]
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", float(at), value, 0.0 if at < 500 else 60.0) for at, value in enumerate(values)]
    assert events(feed(engine, *items), "trip") == []
