"""Each family of trials is what it says: hazards do harm or outlast their bound, traps show their trap and do none."""

from collections.abc import Callable
from dataclasses import replace
from random import Random

import orjson
import pytest
from pydantic import TypeAdapter

from watchdog.core.inputs import Reading
from watchdog.settings.model import Heater
from watchdog.simulation.case import MARGIN_S, NEVER_S, Case, outcome
from watchdog.simulation.families import EITHER_WAY, FAMILIES, HAZARDS, TRAPS, case, meant_for
from watchdog.simulation.running import readings
from watchdog.simulation.simulation import Simulation
from watchdog.thermal.heater_classes import CLASSES

HAZARD_NAMES = [family.__name__ for group in HAZARDS.values() for family in group]
TRAP_NAMES = [family.__name__ for family in TRAPS]
MUST_HARM = {
    *("closed_idle", "closed_from_start", "closed_holding", "closed_at_end", "closed_without_targets", "closed_slow_and_coarse"),
    *("closed_unseen", "chamber_closed", "loose_before", "loose_heating", "loose_holding", "frozen_heating"),
    *("wire_open", "commanded_too_hot", "board_hung_repeating"),
}
NO_HARM = {
    "wire_short",
    "jumping",
    "silent_heating",
    "silent_holding",
    "temperature_missing",
    "bridge_frozen_heating",
    "bridge_frozen_holding",
}

Count = Callable[[int, int], int]


def heard(trial: Case, until_s: float | None = None) -> list[Reading]:
    return list(readings(trial.scenario, trial.seed, trial.until_s if until_s is None else until_s))


def of(trial: Case, heater: str, told: list[Reading]) -> list[tuple[float, float]]:
    del trial
    return [(r.at, r.temperature_c) for r in told if r.heater == heater and r.temperature_c is not None and not r.sensor]


def between(points: list[tuple[float, float]], from_s: float, to_s: float) -> list[float]:
    return [celsius for at_s, celsius in points if from_s <= at_s < to_s]


@pytest.mark.parametrize("family", HAZARD_NAMES)
def test_a_hazard_reaches_harm_or_outlasts_its_bound(family: str, long_count: Count, dice: Random) -> None:
    for seed in dice.sample(range(10_000), long_count(1, 20)):
        trial = case(family, seed)
        result = outcome(trial)
        harms = result.harm_at_s < NEVER_S
        assert trial.expect == "trip"
        assert trial.heater in trial.scenario.printer.heaters
        assert trial.until_s >= trial.onset_s + trial.bound_s, "it must run past its bound"
        assert harms or family not in MUST_HARM, f"seed {seed}: no harm, {result}"
        assert not harms or family not in NO_HARM, f"seed {seed}: {result}"
        assert result.deadline_s == (result.harm_at_s - MARGIN_S if harms else trial.onset_s + trial.bound_s)
        assert result.deadline_s - trial.onset_s > 12.0, f"seed {seed}: nobody could be so quick, {result}"


@pytest.mark.parametrize("family", HAZARD_NAMES)
def test_a_hazard_leaves_no_trace_before_its_onset(family: str) -> None:
    trial = case(family, 1)
    if trial.onset_s == 0.0 or family in {"loose_before", "closed_unseen"}:
        return
    earlier = tuple(event for event in trial.scenario.events if event.at_s < trial.onset_s) if family.startswith("night_") else ()
    healthy = replace(trial, scenario=replace(trial.scenario, events=earlier))
    if family == "commanded_too_hot":
        setup = {n: replace(s, schedule=s.schedule[:1] if n == trial.heater else s.schedule) for n, s in trial.scenario.setup.items()}
        healthy = replace(trial, scenario=replace(trial.scenario, setup=setup))
    before = trial.onset_s - 0.5
    assert [r for r in heard(trial, before) if r.at < before] == [r for r in heard(healthy, before) if r.at < before]
    assert heard(trial, trial.onset_s + 120.0) != heard(healthy, trial.onset_s + 120.0)


@pytest.mark.parametrize("family", TRAP_NAMES)
def test_a_trap_never_does_harm(family: str, long_count: Count, dice: Random) -> None:
    for seed in dice.sample(range(10_000), long_count(1, 20)):
        trial = case(family, seed)
        assert trial.expect == "quiet"
        result = outcome(trial)
        assert result.harm_at_s == NEVER_S, f"seed {seed}: {result}"


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_repeats_by_seed_and_varies_with_it(family: str) -> None:
    assert case(family, 3) == case(family, 3)
    assert case(family, 3).scenario != case(family, 4).scenario
    assert case(family, 3).family == family


def test_every_check_has_a_hazard_and_every_family_one_place() -> None:
    assert len(FAMILIES) == len(HAZARD_NAMES) + len(TRAPS) + len(EITHER_WAY)
    assert {meant_for(name) for name in HAZARD_NAMES} == set(HAZARDS)
    assert meant_for("ordinary_print") == ""
    assert all(FAMILIES[name].__doc__ for name in FAMILIES)


def test_facts_are_those_that_settings_can_hold() -> None:
    for seed in range(20):
        for name, facts in case("warm_chamber", seed).scenario.printer.heaters.items():
            kind = CLASSES[facts.kind]
            assert facts.normal_max_c < facts.harm_c <= kind.highest_harm_c, name
            told = {"readings": {"broker": "log", "topic": "log", "longest_interval_s": 5.0}, **facts.told()}
            assert TypeAdapter(Heater).validate_json(orjson.dumps(told)).rated_w == facts.rated_w


SEEDS = range(4)


def test_stored_heat_goes_on_lifting_the_reading_after_the_target_went() -> None:
    rises_k = []
    for seed in SEEDS:
        trial = case("stored_heat", seed)
        points = of(trial, "bed", heard(trial))
        off_s = trial.scenario.setup["bed"].schedule[1][0]
        rises_k.append(max(between(points, off_s, off_s + 120.0)) - max(between(points, off_s - 3.0, off_s)))
    assert max(rises_k) > 1.0


def test_a_wrench_takes_twenty_to_forty_kelvin_off_a_nozzle() -> None:
    drops_k = []
    for seed in SEEDS:
        trial = case("wrench", seed)
        points = of(trial, "hotend", heard(trial))
        at_s = trial.scenario.events[0].at_s
        drops_k.append(max(between(points, at_s - 20.0, at_s)) - min(between(points, at_s, at_s + 120.0)))
    assert all(8.0 < drop_k < 50.0 for drop_k in drops_k), drops_k
    assert max(drops_k) > 20.0


@pytest.mark.parametrize("family", ["steel_sheet", "wet_cloth"])
def test_what_is_laid_on_a_bed_cools_it_under_full_power(family: str) -> None:
    drops_k = []
    for seed in SEEDS:
        trial = case(family, seed)
        points = of(trial, "bed", heard(trial))
        at_s = trial.scenario.events[0].at_s
        drops_k.append(min(between(points, at_s - 20.0, at_s)) - min(between(points, at_s, at_s + 240.0)))
    assert max(drops_k) > 2.0, drops_k


def test_a_ringing_loop_overshoots_by_several_kelvin() -> None:
    over_k = []
    for seed in SEEDS:
        trial = case("ringing_loop", seed)
        told = heard(trial)
        over_k += [max(c for _, c in of(trial, name, told)) - trial.scenario.setup[name].schedule[0][1] for name in ("bed", "hotend")]
    assert max(over_k) > 5.0, over_k
    assert max(over_k) < 30.0, over_k


def test_a_weak_bed_heats_for_very_long_at_full_power() -> None:
    trial = case("weak_bed", 1)
    watts = []
    simulation = Simulation(trial.scenario, trial.seed, mute=True)
    for _ in range(1500):
        simulation.step(1.0)
        watts.append(simulation.machine.heaters["bed"].duty)
    assert sum(duty > 0.99 for duty in watts) > 900


def test_neighbours_and_sun_warm_what_nobody_heats() -> None:
    for family, least_k in (("warm_neighbour", 5.0), ("warm_chamber", 12.0), ("sunny_garage", 12.0), ("cold_tool_lifted", 4.0)):
        trial = case(family, 2)
        celsius = [celsius for _, celsius in of(trial, "hotend", heard(trial))]
        assert max(celsius) - celsius[0] > least_k, family
        assert trial.scenario.setup["hotend"].schedule == ()


def test_a_big_plate_in_a_warm_box_is_still_warm_after_an_hour() -> None:
    warm_c = []
    for seed in SEEDS:
        trial = case("slow_cooling", seed)
        end_s = trial.scenario.setup["bed"].schedule[-1][0]
        warm_c.append(between(of(trial, "bed", heard(trial, end_s + 3605.0)), end_s + 3595.0, end_s + 3605.0)[0])
    assert max(warm_c) > 30.0, warm_c


def test_a_fallen_sensor_shows_the_room_while_the_bed_burns() -> None:
    trial = next(found for found in (case("loose_before", seed) for seed in range(20)) if found.heater == "bed")
    result = outcome(trial)
    assert max(celsius for _, celsius in of(trial, "bed", heard(trial, result.harm_at_s))) < 45.0


def test_a_hot_hotend_prints_above_three_hundred_and_fifty() -> None:
    trial = case("hot_hotend", 1)
    assert max(celsius for _, celsius in of(trial, "hotend", heard(trial))) > 350.0


def test_a_half_closed_switch_does_not_let_the_heater_cool() -> None:
    trial = case("half_closed_at_end", 0)
    told = of(trial, trial.heater, heard(trial))
    late = between(told, trial.onset_s + 1100.0, trial.onset_s + 1200.0)
    assert min(late) > between(told, trial.onset_s - 5.0, trial.onset_s)[0] - 30.0
    assert min(late) > 60.0
