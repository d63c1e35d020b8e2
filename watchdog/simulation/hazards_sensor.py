"""Families of hazards: the sensor does not tell the truth, or nobody tells it."""

from dataclasses import replace
from random import Random

from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import Event
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.job import Job, a_print, sensor, setups, telemetry
from watchdog.simulation.parts import Schedule
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensor_events import (
    BridgeFreezes,
    LinkDown,
    SensorComesLoose,
    SensorDrifts,
    SensorFreezes,
    SensorShows,
    TemperatureMissing,
)

HORIZON_S = 2400.0
UNHEATED_BOUND_S = 600.0
OPEN_BOUND_S = 60.0
SILENT_BOUND_S = 180.0
FROZEN_BOUND_S = 300.0
FROZEN_HOLD_BOUND_S = 900.0
JUMPING_BOUND_S = 300.0


def _printing(dice: Random, heater: str = "", share: float = 1.0) -> tuple[PrinterFacts, str, Job]:
    printer = draw_printer(dice)
    heater = heater or dice.choice(("bed", "hotend"))
    return printer, heater, a_print(dice, printer, 4.0 * HORIZON_S, share=share, heaters=(heater,))


def _case(
    dice: Random,
    printing: tuple[PrinterFacts, str, Job],
    events: tuple[Event, ...],
    onset_s: float,
    bound_s: float,
    *,
    schedule: Schedule | None = None,
    second: bool = False,
) -> Case:
    """One heater of a printer at work, with what happens to it; `schedule` replaces the job's, `second` glues on another sensor."""
    printer, heater, job = printing
    setup = setups(dice, printer, job, grain="fine")
    if schedule is not None:
        setup[heater] = replace(setup[heater], schedule=schedule)
    if second:
        setup[heater] = replace(setup[heater], sensors={**setup[heater].sensors, "glued": sensor(dice, "bed", "fine")})
    scenario = Scenario(printer=printer, setup=setup, events=events, telemetry=telemetry(dice))
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=bound_s)


def _heating_s(job: Job, heater: str, share: float) -> float:
    return job.heats_s[heater] + share * (job.holding_s[heater] - job.heats_s[heater])


def _holding_s(dice: Random, job: Job, heater: str) -> float:
    return job.holding_s[heater] + dice.uniform(30.0, 600.0)


def loose_before(dice: Random) -> Case:
    """The sensor has fallen out before the heat-up: full power, and the reading hardly moves."""
    printing = _, heater, job = _printing(dice)
    events = (SensorComesLoose(0.0, heater, dice.uniform(0.0, 0.003)),)
    return _case(dice, printing, events, job.heats_s[heater], UNHEATED_BOUND_S)


def loose_heating(dice: Random) -> Case:
    """The sensor falls out in the middle of a heat-up."""
    printing = _, heater, job = _printing(dice)
    onset_s = _heating_s(job, heater, 0.25)
    return _case(dice, printing, (SensorComesLoose(onset_s, heater, dice.uniform(0.0, 0.003)),), onset_s, UNHEATED_BOUND_S)


def loose_holding(dice: Random) -> Case:
    """The sensor falls out while the target is held: the reading falls, full power is asked for."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (SensorComesLoose(onset_s, heater, dice.uniform(0.0, 0.003)),), onset_s, UNHEATED_BOUND_S)


def partly_loose(dice: Random) -> Case:
    """The sensor keeps some contact: it shows a third to a half of the truth, and the controller heats on until that is enough."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (SensorComesLoose(onset_s, heater, dice.uniform(0.02, 0.04)),), onset_s, UNHEATED_BOUND_S)


def frozen_heating(dice: Random) -> Case:
    """The controller itself sees one value for ever, below its target."""
    printing = _, heater, job = _printing(dice)
    onset_s = _heating_s(job, heater, 0.2)
    return _case(dice, printing, (SensorFreezes(onset_s, heater),), onset_s, UNHEATED_BOUND_S)


def frozen_holding(dice: Random) -> Case:
    """The controller sees one value for ever, a little below its target: it heats more and more."""
    printing = printer, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    below_k = printer.heaters[heater].normal_max_c * 0.02 + 1.0
    return _case(dice, printing, (SensorFreezes(onset_s, heater, -below_k),), onset_s, FROZEN_HOLD_BOUND_S)


def wire_open(dice: Random) -> Case:
    """The wire breaks while heating: a steady value far below any room, and full power."""
    printing = _, heater, job = _printing(dice)
    onset_s = _heating_s(job, heater, 0.2)
    return _case(dice, printing, (SensorShows(onset_s, heater, dice.choice((-42.4, -51.9, -273.15))),), onset_s, OPEN_BOUND_S)


def wire_short(dice: Random) -> Case:
    """The wires touch while holding: far above anything; the controller asks for nothing, and nobody knows how hot it is."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (SensorShows(onset_s, heater, dice.choice((725.0, 938.0, 1266.0))),), onset_s, OPEN_BOUND_S)


def rattling(dice: Random, at_s: float, heater: str) -> tuple[Event, ...]:
    """From `at_s` on, until past the bound of jumping, the reading goes off by tens of kelvin for seconds, again and again."""
    events: list[Event] = []
    until_s = at_s + JUMPING_BOUND_S + 60.0
    while at_s < until_s:
        off_k = dice.choice((-1.0, 1.0)) * dice.uniform(20.0, 50.0)
        events.append(SensorDrifts(at_s, heater, off_k))
        at_s += dice.uniform(2.0, 6.0)
        events.append(SensorDrifts(at_s, heater, 0.0))
        at_s += dice.uniform(4.0, 15.0)
    return tuple(events)


def jumping(dice: Random) -> Case:
    """A bad plug: the reading jumps by tens of kelvin, again and again."""
    printing = _, heater, job = _printing(dice, share=0.8)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, rattling(dice, onset_s, heater), onset_s, JUMPING_BOUND_S)


def second_sensor_disagrees(dice: Random) -> Case:
    """The controller's sensor drifts down and the bed heats up; a second one, on a board of its own, sees it."""
    printing = _, heater, job = _printing(dice, "bed")
    onset_s = at_s = _holding_s(dice, job, heater)
    per_s = dice.uniform(0.03, 0.08)
    events: list[Event] = []
    while at_s < onset_s + HORIZON_S:
        at_s += 5.0
        events.append(SensorDrifts(at_s, heater, -per_s * (at_s - onset_s)))
    return _case(dice, printing, tuple(events), onset_s, UNHEATED_BOUND_S, second=True)


def commanded_too_hot(dice: Random) -> Case:
    """The target itself is hotter than the heater may get."""
    printing = printer, heater, job = _printing(dice, share=0.8)
    onset_s = _holding_s(dice, job, heater)
    asked: Schedule = (*job.schedule(heater)[:1], (onset_s, printer.heaters[heater].harm_c + dice.uniform(5.0, 30.0)))
    return _case(dice, printing, (), onset_s, UNHEATED_BOUND_S, schedule=asked)


def silent_heating(dice: Random) -> Case:
    """Readings stop in the middle of a heat-up; the printer goes on unseen."""
    printing = _, heater, job = _printing(dice)
    onset_s = _heating_s(job, heater, 0.3)
    return _case(dice, printing, (LinkDown(onset_s, will=chance(dice, 0.5)),), onset_s, SILENT_BOUND_S)


def silent_holding(dice: Random) -> Case:
    """Readings stop while the target is held."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (LinkDown(onset_s, will=chance(dice, 0.5)),), onset_s, SILENT_BOUND_S)


def temperature_missing(dice: Random) -> Case:
    """Messages go on, targets and all, but without a temperature."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (TemperatureMissing(onset_s, names=(heater,)),), onset_s, SILENT_BOUND_S)


def bridge_frozen_heating(dice: Random) -> Case:
    """Something on the way repeats the last message, in the middle of a heat-up; the printer is well and unseen."""
    printing = _, heater, job = _printing(dice)
    onset_s = _heating_s(job, heater, 0.2)
    return _case(dice, printing, (BridgeFreezes(onset_s),), onset_s, FROZEN_BOUND_S)


def bridge_frozen_holding(dice: Random) -> Case:
    """Something on the way repeats the last message while the target is held: fine steps and noise have vanished."""
    printing = _, heater, job = _printing(dice)
    onset_s = _holding_s(dice, job, heater)
    return _case(dice, printing, (BridgeFreezes(onset_s),), onset_s, FROZEN_HOLD_BOUND_S)
