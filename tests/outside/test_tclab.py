"""The teaching kit's own model (PyPI tclab, Apache-2.0) as a plant that this project had no part in, judged live by the engine.

Its documented equations, in seconds and degrees Celsius, with Q in per cent of P: dH1/dt = P1 Q1/5720 + (Ta - H1)/20 - (H1 - H2)/100,
dH2/dt = P2 Q2/5720 + (Ta - H2)/20 + (H1 - H2)/100, dT1/dt = (H1 - T1)/140; readings in steps of 0.3223 K with noise of 0.043 K,
and -50 degC for an open sensor.
"""

from collections.abc import Callable
from math import exp

import pytest
from rig.feeding import events
from rig.outside import rig_heater, rig_site
from tclab import TCLabModel  # type: ignore[import-untyped]  # it has no types

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.outputs import Event

HARM_C = 100.0
"""Where the kit's plastic softens. The heater alone can bring the sensor to 81 degC, full power and for good."""

CEILING_C = 85.0

Sensor = Callable[[float], float | None]
"""What the board makes of the real temperature; None: it says nothing."""

Switch = Callable[[float], float]
"""What the heater really gets for the duty that is asked for."""


def as_it_is(value: float) -> float:
    return value


class Kit:
    """One kit under bang-bang control with 1 K of hysteresis, heard once a second."""

    def __init__(self) -> None:
        heater = rig_heater("bed", 3.0, 70.0, HARM_C, {"no_readings": {"advise_s": 8.0, "grace_s": 15.0, "cold_c": 30.0}})
        self.model = TCLabModel(synced=False)
        self.engine = Engine(rig_site("kit", {"h1": heater}), 0.0)
        self.at_s = 0.0
        self.duty = 0.0
        self.trips: list[Event] = []

    def run(self, for_s: int, target_c: float, *, sensor: Sensor = as_it_is, switch: Switch = as_it_is) -> list[Event]:
        """So many seconds more; the trips of this time."""
        before = len(self.trips)
        for _ in range(for_s):
            self.at_s += 1.0
            self.model.update(self.at_s)
            heard_c = sensor(self.model.T1)
            if heard_c is not None:
                if heard_c < target_c - 0.5 or heard_c > target_c + 0.5:
                    self.duty = 1.0 if heard_c < target_c else 0.0
                reading = Reading("kit", "h1", self.at_s, heard_c, target_c, self.duty)
                self.trips += events(self.engine.feed(reading), "trip")
            self.trips += events(self.engine.feed(Tick(self.at_s)), "trip")
            self.model.Q1(100.0 * switch(self.duty))
        return self.trips[before:]


@pytest.fixture
def kit() -> Kit:
    return Kit()


def hold(kit: Kit, target_c: float = 50.0) -> None:
    """Up to the target and fifteen minutes there, all well."""
    assert kit.run(1200, target_c) == []
    assert abs(kit.model.T1 - target_c) < 3.0


def test_the_model_is_what_its_equations_say(kit: Kit) -> None:
    """The steady state at full power, solved by hand; the sensor's step and four of its noise's widths are allowed."""
    kit.model.Q1(100.0)
    kit.model.update(3600.0)
    loss, link, power = 1 / 20, 1 / 100, 200.0 * 100.0 / 5720.0
    rise_k = power * (loss + link) / ((loss + link) ** 2 - link**2)
    shown_c = kit.model.T1
    assert shown_c == pytest.approx(21.0 + rise_k, abs=0.3223 + 4 * 0.043)


@pytest.mark.parametrize("target_c", [35.0, 50.0, 65.0])
def test_an_hour_of_a_healthy_step_and_a_bang_bang_hold_is_quiet(kit: Kit, target_c: float) -> None:
    assert kit.run(3600, target_c) == []
    assert not kit.trips


def test_switching_off_and_on_again_is_quiet(kit: Kit) -> None:
    """The heater is hotter than its sensor, which goes on rising after it is off."""
    for target_c in (50.0, 0.0, 60.0, 30.0, 0.0):
        assert kit.run(900, target_c) == []


def test_a_switch_stuck_on_after_off_is_cut_before_any_harm(kit: Kit) -> None:
    hold(kit)
    first = kit.run(600, 0.0, switch=lambda _: 1.0)[0]
    assert first.check == "unheated rise"
    assert first.at - 1200.0 < 200.0
    assert first.numbers["temperature_c"] < CEILING_C < HARM_C


def test_a_switch_stuck_on_while_it_holds_is_cut_before_any_harm(kit: Kit) -> None:
    hold(kit)
    first = kit.run(900, 50.0, switch=lambda _: 1.0)[0]
    assert first.check == "overshoot"
    assert first.numbers["temperature_c"] < CEILING_C < HARM_C


def test_a_sensor_that_freezes_while_it_heats_is_cut(kit: Kit) -> None:
    assert kit.run(60, 60.0) == []
    frozen_c = kit.model.T1
    assert frozen_c < 50.0
    first = kit.run(400, 60.0, sensor=lambda _: frozen_c)[0]
    assert first.check in {"stuck", "no response"}
    assert first.at - 60.0 < 200.0
    real_c = kit.model.T1
    assert real_c > frozen_c + 10.0


def test_an_open_sensor_is_cut(kit: Kit) -> None:
    """The kit's own floor of -50 degC; its full-scale signature."""
    hold(kit)
    first = kit.run(30, 50.0, sensor=lambda _: -50.0)[0]
    assert first.check == "out of range"
    assert first.at - 1200.0 <= 6.0


def test_a_kit_that_falls_silent_while_it_heats_is_cut(kit: Kit) -> None:
    hold(kit)
    first = kit.run(30, 50.0, sensor=lambda _: None)[0]
    assert first.check == "no readings"
    assert first.at - 1200.0 == pytest.approx(15.0, abs=1.0)


def test_single_wild_samples_are_nothing(kit: Kit) -> None:
    def wild(heard_c: float) -> float:
        return -50.0 if kit.at_s % 97 == 0 else 132.2 if kit.at_s % 89 == 0 else heard_c

    assert kit.run(1800, 50.0, sensor=wild) == []


def test_a_heater_that_stays_cold_is_cut(kit: Kit) -> None:
    """Its wire is off: full heat is asked for, and the room is all that there is."""
    first = kit.run(900, 60.0, switch=lambda _: 0.0)[0]
    assert first.check in {"no response", "stuck"}
    assert first.at < 400.0


def test_a_switch_that_opens_only_in_part_after_off_is_cut_before_any_harm(kit: Kit) -> None:
    hold(kit)
    first = kit.run(1800, 0.0, switch=lambda _: 0.85)[0]
    assert first.check in {"unheated rise", "hot while off"}
    assert first.numbers["temperature_c"] < CEILING_C < HARM_C


def test_a_sensor_that_falls_off_while_it_holds_is_cut(kit: Kit) -> None:
    """What it shows runs towards the room of 21 degC in half a minute; the heater is asked for more and more."""
    hold(kit)
    begun_s = kit.at_s
    first = kit.run(600, 50.0, sensor=lambda real_c: 21.0 + (real_c - 21.0) * exp(-(kit.at_s - begun_s) / 30.0))[0]
    assert first.check in {"no response", "stuck"}
    real_c = kit.model.T1
    assert first.at - begun_s < 300.0
    assert real_c < HARM_C


def test_a_plug_that_rattles_is_cut(kit: Kit) -> None:
    hold(kit)
    first = kit.run(300, 50.0, sensor=lambda real_c: real_c - 25.0 * (kit.at_s % 7 < 2))[0]
    assert first.check in {"jumping", "no response"}


def test_a_target_above_its_ceiling_is_cut_before_it_gets_there(kit: Kit) -> None:
    first = kit.run(600, CEILING_C + 5.0)[0]
    assert first.check == "commanded too hot"
    assert first.at < 10.0


def test_the_other_heater_of_the_kit_may_warm_this_one(kit: Kit) -> None:
    """Nothing asks the first one for heat; the second warms it through the documented link, 0.01 a second of their difference."""
    kit.model.Q2(60.0)
    assert kit.run(1800, 0.0) == []
    warmed_c = kit.model.T1
    assert warmed_c > 23.0
