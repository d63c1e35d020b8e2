"""Fault rows whose inputs are curves: each is caught by the check that is meant for it, in its time. Rows F30 and F32 to F34."""

from collections.abc import Iterable
from typing import Any

import pytest
from rig.figures import figure
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.outputs import Event
from watchdog.core.plan import PrinterPlan

STRONG: dict[str, Any] = {"rated_w": 500.0, "width_mm": 300.0, "depth_mm": 300.0, "plate_mm": 3.0, "plate_material": "aluminium"}
HOTEND: dict[str, Any] = {"rated_w": 50.0, "block_g": 20.0}


def trip_of(values: Iterable[tuple[float, float, float | None]], kind: str = "bed", facts: dict[str, Any] | None = None) -> Event | None:
    """The first trip; `values` are temperature, target and duty, once a second."""
    plan = PrinterPlan("anvil", (heater(kind, interval_s=2.0, facts=facts),), ("plug",))
    engine = Engine(site(plan), 0.0)
    at = 0.0
    for place, (temperature_c, target_c, duty) in enumerate(values):
        at = float(place)
        for item in (Reading("anvil", kind, at, temperature_c, target_c, duty), Tick(at)):
            for out in engine.feed(item):
                if isinstance(out, Event) and out.kind == "trip":
                    return out
    return None


def steady(count: int, celsius: float = 60.0, target_c: float = 60.0) -> list[tuple[float, float, float | None]]:
    """A healthy bed at its target, with a sensor of 0.1 K whose noise shows."""
    return [(celsius + (0.0, 0.1, 0.0, -0.1, 0.1)[place % 5], target_c, 0.3) for place in range(count)]


def test_a_source_that_changes_to_fahrenheit_is_cut_and_the_reason_names_the_unit() -> None:
    """Row F30: 60 degC becomes 140, above the ceiling of its class; the target stays in degrees Celsius."""
    trip = trip_of([*steady(120), *[(value * 1.8 + 32.0, target_c, duty) for value, target_c, duty in steady(120)]], facts=STRONG)
    assert trip is not None
    figure("F30 change to Fahrenheit: change to trip", trip.at - 120.0)
    assert trip.at <= 130.0
    assert "read as Fahrenheit it would be 60 degC" in trip.sentence


def test_a_source_that_changes_to_kelvin_is_cut_and_the_reason_names_the_unit() -> None:
    """Row F30."""
    trip = trip_of([*steady(120), *[(value + 273.15, target_c, duty) for value, target_c, duty in steady(120)]], facts=STRONG)
    assert trip is not None
    assert trip.at <= 130.0
    assert "read as kelvin it would be 60 degC" in trip.sentence


def test_a_value_ten_times_too_large_is_out_of_range() -> None:
    """Row F30: 210.5 becomes 2105."""
    trip = trip_of([(210.5, 210.0, None)] * 60 + [(2105.0, 210.0, None)] * 60, kind="hotend", facts=HOTEND)
    assert trip is not None
    assert trip.check in {"ceiling", "out of range"}
    assert trip.at <= 66.0


@pytest.mark.parametrize("frozen_c", [35.0, 50.0, 70.0])
def test_a_value_that_freezes_in_the_heat_up_is_stuck_or_does_not_respond(frozen_c: float) -> None:
    """Row F32: noise off, heat asked for."""
    rise = [(22.0 + 0.4 * place, 90.0, 1.0) for place in range(int((frozen_c - 22.0) / 0.4))]
    trip = trip_of([*rise, *[(frozen_c, 90.0, 1.0)] * 400], facts=STRONG)
    assert trip is not None
    figure("F32 frozen in the heat-up: freeze to trip", trip.at - len(rise))
    assert trip.check in {"stuck", "no response"}
    assert trip.at - len(rise) <= 150.0


def test_a_frozen_value_of_a_cold_idle_printer_cuts_nothing() -> None:
    """Row F32: not for idle."""
    assert trip_of([(22.0, 0.0, 0.0)] * 3600, facts=STRONG) is None


def test_a_slow_drift_while_off_is_an_unheated_rise() -> None:
    """Row F33: 0.05 K/s more each second while nothing is asked for."""
    trip = trip_of([(22.0, 0.0, 0.0)] * 120 + [(22.0 + 0.05 * place, 0.0, 0.0) for place in range(1200)], facts=STRONG)
    assert trip is not None
    figure("F33 drift of 0.05 K/s while off: begin to trip", trip.at - 120.0)
    assert trip.check == "unheated rise"
    assert trip.at - 120.0 <= 200.0


def test_a_slow_drift_above_its_target_is_an_overshoot() -> None:
    """Row F33."""
    drift = [(60.0 + 0.05 * place, 60.0, 0.0) for place in range(1200)]
    trip = trip_of([*steady(120), *drift], facts=STRONG)
    assert trip is not None
    figure("F33 drift of 0.05 K/s at its target: begin to trip", trip.at - 120.0)
    assert trip.check == "overshoot"
    assert 60.0 + 0.05 * (trip.at - 120.0) < 85.0  # degC: far from harm


def test_a_fast_runaway_of_a_hotend_is_cut_within_seconds() -> None:
    """Row F33: 5 K/s."""
    runaway = [(200.0 + 5.0 * place, 200.0, 0.0) for place in range(60)]
    trip = trip_of([(200.0 + (0.0, 0.1)[place % 2], 200.0, 0.4) for place in range(60)] + runaway, kind="hotend", facts=HOTEND)
    assert trip is not None
    figure("F33 runaway of 5 K/s: begin to trip", trip.at - 60.0)
    assert trip.check in {"overshoot", "ceiling", "unheated rise"}
    assert 200.0 + 5.0 * (trip.at - 60.0) < 260.0  # degC


def test_a_reading_that_swings_wildly_is_jumping() -> None:
    """Row F33: 25 K up and down, faster than any plate."""
    swing = [(60.0 + (25.0 if place % 6 < 3 else 0.0), 60.0, 0.3) for place in range(240)]
    trip = trip_of([*steady(120), *swing], facts=STRONG)
    assert trip is not None
    figure("F33 swings of 25 K: begin to trip", trip.at - 120.0)
    assert trip.check == "jumping"
    assert trip.at - 120.0 <= 60.0


def test_a_sensor_that_falls_off_while_the_heater_is_on_gets_no_response() -> None:
    """Row F34: it drops to the room and the controller asks for full power."""
    falls = [(22.0 + 38.0 * 0.97**place, 60.0, min(1.0, 0.3 + 0.05 * place)) for place in range(600)]
    trip = trip_of([*steady(120), *falls], facts=STRONG)
    assert trip is not None
    figure("F34 sensor off a bed: begin to trip", trip.at - 120.0)
    assert trip.check == "no response"
    assert trip.at - 120.0 <= 60.0
