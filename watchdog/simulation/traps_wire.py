"""Families of traps: a healthy printer, and messages that are late, missing, doubled or wild."""

from dataclasses import replace
from random import Random

from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import Event, HeaterComesLoose, SwitchFails
from watchdog.simulation.job import Job, a_print, setups, telemetry
from watchdog.simulation.parts import Telemetry
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensor_events import Glitch, LinkDown, UnitChanges

SHORT_GAP_S = (4.0, 14.0)
"""Healthy link drops: well under any grace."""

IDLE_S = 3600.0


def _printing(dice: Random, hold_s: float = 1200.0) -> tuple[Case, Job]:
    printer = draw_printer(dice)
    job = a_print(dice, printer, hold_s)
    scenario = Scenario(printer=printer, setup=setups(dice, printer, job), telemetry=telemetry(dice))
    return Case(scenario=scenario, until_s=job.end_s + 900.0), job


def _said(case: Case, spec: Telemetry) -> Case:
    return replace(case, scenario=replace(case.scenario, telemetry=spec))


def _with(case: Case, events: tuple[Event, ...]) -> Case:
    return replace(case, scenario=replace(case.scenario, events=events))


def single_glitches(dice: Random) -> Case:
    """Single wild samples now and then: 0, 999, -50."""
    case, job = _printing(dice)
    heaters = tuple(job.target_c)
    times_s = [dice.uniform(30.0, case.until_s) for _ in range(10)]
    events = tuple(Glitch(at_s, dice.choice(heaters), (dice.choice((0.0, 999.0, -50.0, 850.0, 85.0)),)) for at_s in times_s)
    return _with(case, events)


def short_drops(dice: Random) -> Case:
    """The link drops for seconds, at any time; what was said meanwhile is lost, or comes in a burst."""
    case, _ = _printing(dice)
    events: list[Event] = []
    at_s = dice.uniform(30.0, 200.0)
    while at_s < case.until_s:
        events.append(LinkDown(at_s, dice.uniform(*SHORT_GAP_S), keeps=chance(dice, 0.5)))
        at_s += dice.uniform(120.0, 500.0)
    return _with(case, tuple(events))


def gap_hides_change(dice: Random) -> Case:
    """The link drops while the hotend heats at its fastest: the next reading is tens of kelvin away."""
    case, job = _printing(dice)
    at_s = job.heats_s["hotend"] + dice.uniform(15.0, 30.0)
    return _with(case, (LinkDown(at_s, dice.uniform(8.0, 14.0)), LinkDown(job.end_s + 5.0, dice.uniform(8.0, 14.0))))


def router_restart(dice: Random) -> Case:
    """The router restarts while the printer stands idle, and later while it cools: everything is silent for minutes."""
    case, job = _printing(dice, 300.0)
    return _with(case, (LinkDown(5.0, 10.0), LinkDown(job.end_s + 400.0, dice.uniform(60.0, 180.0), will=True)))


def duplicates(dice: Random) -> Case:
    """A quarter of all messages come twice."""
    case, _ = _printing(dice)
    return _said(case, replace(case.scenario.telemetry, duplicates=0.25, jitter_s=0.2))


def late_targets(dice: Random) -> Case:
    """Targets are told seconds after they took effect."""
    case, _ = _printing(dice)
    return _said(case, replace(case.scenario.telemetry, target_late_s=dice.uniform(1.0, 3.0)))


def null_values(dice: Random) -> Case:
    """Now and then a message without a temperature, or with an unknown target."""
    case, _ = _printing(dice)
    return _said(case, replace(case.scenario.telemetry, nulls=0.05))


def no_targets(dice: Random) -> Case:
    """A source that tells temperatures and nothing else."""
    case, _ = _printing(dice)
    return _said(case, telemetry(dice, targets=False))


def on_change(dice: Random) -> Case:
    """A source that speaks when something changes, with a heartbeat: idle for long, then a print."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1200.0, start_s=IDLE_S)
    spec = replace(
        telemetry(dice),
        on_change_k=dice.choice((0.1, 0.25, 0.5)),
        heartbeat_s=dice.choice((15.0, 30.0, 40.0)),
        presence=chance(dice, 0.5),
    )
    scenario = Scenario(printer=printer, setup=setups(dice, printer, job), telemetry=spec)
    return Case(scenario=scenario, until_s=job.end_s + 900.0)


def retained_leftover(dice: Random) -> Case:
    """The broker kept a hot reading and a target from another day; the printer is cold and idle."""
    printer = draw_printer(dice)
    scenario = Scenario(
        printer=printer, setup=setups(dice, printer, None), telemetry=replace(telemetry(dice), retained=(dice.uniform(50.0, 100.0), 60.0))
    )
    return Case(scenario=scenario, until_s=IDLE_S)


def clock_set_back(dice: Random) -> Case:
    """The clock of an exported log is set back in the middle of a print."""
    case, job = _printing(dice)
    at_s = dice.uniform(job.start_s, job.end_s)
    return replace(case, scenario=replace(case.scenario, clock_back=(at_s, dice.choice((30.0, 3600.0, 86400.0)))))


def heater_open(dice: Random) -> Case:
    """The heater gets no power although it is asked for: no harm, and from outside much like a sensor that fell out."""
    case, job = _printing(dice)
    heater = dice.choice(("bed", "hotend"))
    return replace(_with(case, (SwitchFails(job.start_s, heater, "open"),)), expect="either", heater=heater, onset_s=job.start_s)


def mat_peeled(dice: Random) -> Case:
    """The mat has come off most of the plate: hot spots that no sensor on the plate tells in time."""
    case, job = _printing(dice)
    loose = HeaterComesLoose(job.start_s, "bed", dice.uniform(0.1, 0.3))
    return replace(_with(case, (loose,)), expect="either", heater="bed", onset_s=job.start_s)


def unit_changed(dice: Random) -> Case:
    """After an update the bed is told in Fahrenheit: the printer is well, its readings are not."""
    case, job = _printing(dice)
    at_s = job.holding_s["bed"]
    return replace(_with(case, (UnitChanges(at_s, "bed", "F"),)), expect="either", heater="bed", onset_s=at_s)
