"""Sensors, switches, controllers and rooms by themselves."""

from math import sqrt
from random import Random
from statistics import fmean, pstdev

import pytest

from watchdog.simulation.cloth import LATENT_J_PER_G, Cloth
from watchdog.simulation.control import Controller, TuningRun, TwoPoint, badly_tuned, well_tuned
from watchdog.simulation.parts import Room
from watchdog.simulation.sensing import AIR_TAU_S, Sensor, SensorSpec
from watchdog.simulation.switching import Switch, SwitchMode

STEP_S = 0.25


def quiet_sensor(**values: float) -> Sensor:
    spec = SensorSpec(**{"noise_k": 0.0, "resolution_k": 0.0, **values})  # type: ignore[arg-type]  # numbers only
    return Sensor(spec, 0, 0.0, Random(1))


@pytest.mark.parametrize(("at_s", "expected_c"), [(5, 1.0653), (10, 3.6788), (30, 20.498), (60, 50.025)])
def test_a_sensor_lags_behind_a_ramp(at_s: int, expected_c: float) -> None:
    # T = r (t - tau (1 - exp(-t / tau))), r 1 K/s, tau 10 s
    sensor, step_s = quiet_sensor(tau_s=10.0), 0.01
    for number in range(round(at_s / step_s)):
        sensor.step(step_s, (number + 0.5) * step_s, 20.0)
    assert sensor.celsius == pytest.approx(expected_c, rel=1e-4)


@pytest.mark.parametrize("resolution_k", [0.0625, 0.1, 0.25, 0.5, 1.0])
def test_rounding_adds_the_noise_of_its_step(resolution_k: float, dice: Random) -> None:
    # q / sqrt 12
    sensor = quiet_sensor(resolution_k=resolution_k)
    errors_k = []
    for _ in range(20_000):
        sensor.shown_c = dice.uniform(20.0, 200.0)
        errors_k.append(sensor.reported() - sensor.shown_c)
    assert pstdev(errors_k) == pytest.approx(resolution_k / sqrt(12.0), rel=0.03)
    assert fmean(errors_k) == pytest.approx(0.0, abs=0.01 * resolution_k + 1e-4)


def test_noise_is_as_large_as_described() -> None:
    sensor = Sensor(SensorSpec(noise_k=0.1, resolution_k=0.0, tau_s=0.01), 0, 60.0, Random(7))
    shown = []
    for _ in range(20_000):
        sensor.step(STEP_S, 60.0, 20.0)
        shown.append(sensor.reported())
    assert pstdev(shown) == pytest.approx(0.1, rel=0.03)


def test_a_sensor_that_fell_out_follows_the_air_with_its_own_slowness() -> None:
    sensor = quiet_sensor(tau_s=1.0)
    for _ in range(100):
        sensor.step(STEP_S, 100.0, 20.0)
    assert sensor.celsius == pytest.approx(100.0, abs=0.1)
    sensor.reseat(0.0)
    for _ in range(round(AIR_TAU_S / STEP_S)):
        sensor.step(STEP_S, 100.0, 20.0)
    assert sensor.celsius == pytest.approx(20.0 + 80.0 * 0.36788, abs=0.2)


def test_a_partly_loose_sensor_shows_something_in_between() -> None:
    sensor = quiet_sensor(tau_s=2.0)
    sensor.reseat(0.05)
    for _ in range(2000):
        sensor.step(STEP_S, 100.0, 20.0)
    to_seat, to_air = 0.05 / 2.0, 0.95 / AIR_TAU_S
    assert sensor.celsius == pytest.approx((100.0 * to_seat + 20.0 * to_air) / (to_seat + to_air), abs=0.1)


@pytest.mark.parametrize("seat", [-0.1, 1.1, float("nan")])
def test_a_seat_outside_of_its_range_is_refused(seat: float) -> None:
    with pytest.raises(ValueError, match="allowed is 0"):
        quiet_sensor().reseat(seat)


def test_offset_gain_drift_and_unit_change_what_is_shown() -> None:
    sensor = quiet_sensor(tau_s=0.01, offset_k=2.0, gain=1.1)
    sensor.drift_k = -1.0
    sensor.step(STEP_S, 125.0, 20.0)
    assert sensor.reported() == pytest.approx(25.0 + 110.0 + 1.0)
    sensor.change(unit="F")
    assert sensor.reported() == pytest.approx(136.0 * 1.8 + 32.0)


def test_a_frozen_sensor_repeats_its_value_to_the_last_digit() -> None:
    sensor = Sensor(SensorSpec(noise_k=0.2), 0, 60.0, Random(3))
    sensor.step(STEP_S, 60.0, 20.0)
    sensor.frozen = True
    first = sensor.reported()
    sensor.step(STEP_S, 90.0, 20.0)
    assert sensor.reported() == first


@pytest.mark.parametrize(
    ("mode", "off", "half", "full"),
    [
        ("healthy", 0.0, 0.5, 1.0),
        ("closed", 1.0, 1.0, 1.0),
        ("half closed", 0.5, 0.75, 1.0),
        ("leaking", 0.05, 0.525, 1.0),
        ("open", 0.0, 0.0, 0.0),
    ],
)
def test_a_switch_lets_through_what_its_state_says(mode: SwitchMode, off: float, half: float, full: float) -> None:
    switch = Switch()
    switch.fail(mode)
    assert [switch.share(duty) for duty in (0.0, 0.5, 1.0)] == pytest.approx([off, half, full])


def test_a_leak_beyond_full_power_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed is 0 to 1"):
        Switch().fail("leaking", 1.5)


def closed_loop(controller: Controller, seconds: float, target_c: float = 60.0) -> list[float]:
    """A lump of 1000 J/K, 300 W, 2 W/K, behind a lag of 5 s."""
    lump_c = seen_c = 20.0
    seen = []
    for _ in range(round(seconds / STEP_S)):
        duty = controller.duty(STEP_S, target_c, seen_c)
        assert 0.0 <= duty <= 1.0
        lump_c += STEP_S * (300.0 * duty - 2.0 * (lump_c - 20.0)) / 1000.0
        seen_c += (lump_c - seen_c) * STEP_S / 5.0
        seen.append(seen_c)
    return seen


def test_a_well_tuned_loop_settles_and_a_badly_tuned_one_overshoots() -> None:
    well, badly = closed_loop(well_tuned(0.3, 5.0), 1200.0), closed_loop(badly_tuned(0.3, 5.0), 1200.0)
    assert max(well) < 62.0
    assert well[-1] == pytest.approx(60.0, abs=0.3)
    assert max(badly) > max(well) + 1.5


def test_two_points_swing_around_the_target_and_off_is_off() -> None:
    swings = closed_loop(TwoPoint(1.0), 1200.0)[1000:]
    assert min(swings) < 59.0
    assert max(swings) > 61.0
    assert TwoPoint().duty(STEP_S, 0.0, -10.0) == 0.0


@pytest.mark.parametrize("reports_off", [False, True])
def test_a_tuning_run_swings_five_times_and_ends(*, reports_off: bool) -> None:
    run = TuningRun(60.0, reports_off=reports_off)
    assert run.reports(0.0) == (0.0 if reports_off else 60.0)
    swings = closed_loop(run, 2400.0, 0.0)
    assert max(swings) > 60.5
    assert swings[-1] < 40.0
    assert run.reports(0.0) == 0.0


def test_a_room_goes_in_straight_lines_and_is_flat_beyond() -> None:
    room = Room(((0.0, 10.0), (100.0, 10.0), (200.0, 30.0)))
    assert [room.at(at_s) for at_s in (-5.0, 50.0, 150.0, 200.0, 900.0)] == pytest.approx([10.0, 10.0, 20.0, 30.0, 30.0])


def test_a_wet_cloth_draws_heat_until_its_water_is_gone() -> None:
    # handbook: saturated air over water of 62 in a room of 22 degrees Celsius: 1.6 kW/m2 by the Lewis relation
    cloth = Cloth(1.0, 10.0)
    assert cloth.loss_w_per_k(40.0) * 40.0 == pytest.approx(1600.0, rel=0.1)
    for _ in range(round(10.0 * LATENT_J_PER_G / 1600.0) + 1):
        cloth.loss_w_per_k(40.0)
        cloth.dry(1.0, 40.0)
    assert cloth.loss_w_per_k(40.0) == 0.0
