"""A whole printer: the same however it is stepped, copied, cut and started anew."""

from dataclasses import replace
from itertools import pairwise
from random import Random
from time import perf_counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.core.inputs import Reading
from watchdog.simulation.channel import Message
from watchdog.simulation.events import Draft, LaidOn, MainSwitch, SwitchFails, TakenOff
from watchdog.simulation.facts import Enclosure, HeaterFacts, PrinterFacts
from watchdog.simulation.families import case
from watchdog.simulation.parts import HeaterSetup, MeterSpec, Telemetry
from watchdog.simulation.running import readings, run
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.simulation import STEP_S, Simulation

BED = HeaterFacts(
    kind="bed", rated_w=500.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=5.0, plate_material="aluminium",
    face_mm=0.8, face_material="spring steel", supply="mains", switch="solid-state relay",
)  # fmt: skip
HOTEND = HeaterFacts(kind="hotend", rated_w=50.0, normal_max_c=270.0, harm_c=340.0, block_g=18.0)
PRINTER = PrinterFacts(name="anvil", heaters={"bed": BED, "hotend": HOTEND})
PRINT = Scenario(
    printer=PRINTER,
    setup={"bed": HeaterSetup(schedule=((10.0, 60.0), (1500.0, 0.0))), "hotend": HeaterSetup(schedule=((200.0, 210.0), (1500.0, 0.0)))},
    telemetry=Telemetry(meter=MeterSpec(), jitter_s=0.1),
)


def whole(scenario: Scenario, seed: int, until_s: float) -> list[Message]:
    return [message for moment in run(scenario, seed, until_s) for message in moment.messages]


def test_a_seed_repeats_everything_and_another_one_does_not() -> None:
    assert whole(PRINT, 3, 600.0) == whole(PRINT, 3, 600.0)
    assert whole(PRINT, 3, 600.0) != whole(PRINT, 4, 600.0)


@given(steps=st.lists(st.floats(0.0, 40.0), min_size=1, max_size=60))
def test_steps_of_any_length_tell_the_same_as_the_whole(steps: list[float]) -> None:
    simulation = Simulation(PRINT, 5)
    told = [message for step_s in steps for message in simulation.step(step_s)]
    assert sum(steps) - STEP_S < simulation.now_s + 1e-5
    assert told == whole(PRINT, 5, simulation.now_s)


@pytest.mark.parametrize("family", ["single_glitches", "short_drops", "on_change", "second_sensor_disagrees", "slow_meter"])
def test_families_too_tell_the_same_in_odd_steps(family: str) -> None:
    trial = case(family, 2)
    simulation = Simulation(trial.scenario, trial.seed)
    told: list[Message] = []
    while simulation.now_s < 1800.0:
        told += simulation.step(0.7)
    assert told == whole(trial.scenario, trial.seed, simulation.now_s)


def test_messages_come_in_time_order_and_no_later_than_their_moment() -> None:
    before = 0.0
    for moment in run(replace(PRINT, telemetry=replace(PRINT.telemetry, duplicates=0.3)), 1, 900.0):
        for message in moment.messages:
            assert before <= message.at <= moment.at_s
            before = message.at


def test_noise_does_not_shift_when_a_fault_is_added() -> None:
    faulty = replace(PRINT, events=(SwitchFails(300.0, "bed"),))
    assert [m for m in whole(PRINT, 1, 300.0) if m.at < 300.0] == [m for m in whole(faulty, 1, 300.0) if m.at < 300.0]


def test_the_plant_alone_has_the_same_temperatures() -> None:
    trial = case("closed_holding", 1)
    loud, mute = Simulation(trial.scenario, 1), Simulation(trial.scenario, 1, mute=True)
    loud.step(1500.0)
    assert mute.step(1500.0) == []
    assert mute.hottest_c() == loud.hottest_c()


def test_a_copy_runs_on_by_itself() -> None:
    closed = replace(PRINT, events=(SwitchFails(600.0, "bed"),))
    cut = Simulation(closed, 1)
    cut.step(660.0)
    uncut, twin = cut.copy(), cut.copy()
    assert uncut.step(900.0) == twin.step(900.0)
    cut.step(900.0, powered=False)
    assert uncut.hottest_c() == twin.hottest_c()
    assert uncut.hottest_c()["bed"] > BED.harm_c
    assert cut.hottest_c()["bed"] < 80.0


def test_a_cut_printer_is_dark_and_wakes_without_its_job() -> None:
    told = list(readings(PRINT, 1, 1200.0, relay=((600.0, False), (900.0, True))))
    heaters = [reading for reading in told if reading.heater]
    assert not [reading for reading in heaters if 600.5 < reading.at < 899.0]
    after = [reading for reading in heaters if reading.at > 902.0]
    assert after
    assert {reading.target_c for reading in after} == {0.0}
    assert {reading.duty for reading in after} == {0.0}
    metered = [reading.power_w for reading in told if not reading.heater and 630.0 < reading.at < 900.0]
    assert metered
    assert set(metered) == {0.0}


def test_a_relay_of_one_heater_leaves_the_board_alive() -> None:
    scenario = replace(PRINT, relay_cuts="bed", events=(SwitchFails(0.0, "bed"),))
    told = list(readings(scenario, 1, 900.0, relay=lambda at_s: at_s < 300.0))
    bed = [reading for reading in told if reading.heater == "bed" and reading.temperature_c is not None]
    hottest_at_s = max(bed, key=lambda reading: reading.temperature_c or 0.0).at
    assert 300.0 <= hottest_at_s < 330.0, "stored heat lifts it a little longer"
    assert bed[-1].at > 898.0
    assert next(reading for reading in reversed(told) if reading.heater == "hotend").temperature_c == pytest.approx(210.0, abs=3.0)


def test_the_owner_may_switch_it_off() -> None:
    told = [reading for reading in readings(replace(PRINT, events=(MainSwitch(100.0, on=False),)), 1, 400.0) if reading.heater]
    assert max(reading.at for reading in told) < 100.6


def test_the_books_of_a_printer_close_with_all_that_is_laid_on_it() -> None:
    events = (
        Draft(100.0, 2.5), LaidOn(700.0, "bed", 200.0, 6.0, 0.05), TakenOff(900.0, "bed"), LaidOn(800.0, "hotend", 40.0, 0.4, 0.004),
    )  # fmt: skip
    simulation = Simulation(replace(PRINT, events=events), 1, mute=True)
    chains = [heater.chain for heater in simulation.machine.heaters.values()]
    began_j = [chain.stored_j() for chain in chains]
    simulation.step(2000.0)
    for chain, at_first_j in zip(chains, began_j, strict=True):
        assert chain.given_j - chain.lost_j == pytest.approx(chain.stored_j() - at_first_j, rel=1e-9, abs=1e-3)


def test_a_bed_warms_the_air_of_a_box_and_the_idle_hotend_in_it() -> None:
    only_bed = {"bed": HeaterSetup(schedule=((0.0, 90.0),))}
    boxed = Simulation(Scenario(printer=replace(PRINTER, enclosure=Enclosure()), setup=only_bed), 1, mute=True)
    opened = Simulation(Scenario(printer=replace(PRINTER, parked_coupling=0.0), setup=only_bed), 1, mute=True)
    boxed.step(5400.0)
    opened.step(5400.0)
    assert boxed.machine.air_c > 35.0
    assert boxed.hottest_c()["hotend"] > 35.0
    assert opened.hottest_c()["hotend"] == pytest.approx(22.0, abs=0.2)
    air, bed = boxed.machine.air, boxed.machine.heaters["bed"].chain
    assert air is not None
    # what the bed loses is what the air gets: all that the box holds or lost came from bed and hotend
    hotend = boxed.machine.heaters["hotend"].chain
    assert air.given_j == pytest.approx(bed.lost_j + hotend.lost_j, rel=1e-9)


def test_a_chamber_heater_needs_a_box() -> None:
    chamber = HeaterFacts(kind="chamber", rated_w=300.0, normal_max_c=60.0, harm_c=90.0)
    with pytest.raises(ValueError, match="no enclosure"):
        Simulation(Scenario(printer=replace(PRINTER, heaters={"chamber": chamber})), 1)


@pytest.mark.parametrize("step_s", [-1.0, float("nan")])
def test_time_does_not_go_back(step_s: float) -> None:
    with pytest.raises(ValueError, match="allowed is 0 and more"):
        Simulation(PRINT, 1).step(step_s)


def test_moments_come_at_the_asked_times(dice: Random) -> None:
    every_s = dice.choice((0.1, 0.25, 1.0, 7.0))
    stamps = [moment.at_s for moment in run(PRINT, 1, 100.0, every_s=every_s)]
    assert stamps[-1] == 100.0
    assert all(later - earlier <= max(every_s, STEP_S) + STEP_S for earlier, later in pairwise(stamps))


def test_it_runs_a_thousand_times_faster_than_life() -> None:
    until_s, best = 1800.0, 0.0
    for _ in range(3):  # another process may have the core for a while
        began = perf_counter()
        told = sum(isinstance(message, Reading) for message in whole(PRINT, 1, until_s))
        best = max(best, until_s / (perf_counter() - began))
        assert told >= 3600
    assert best > 1000.0
