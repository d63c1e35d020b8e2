"""Families of traps: what people and controllers do with a healthy printer."""

from dataclasses import replace
from random import Random

from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import Event, MainSwitch, OtherLoad, TuningStarts
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.job import Job, a_print, sensor, setups, telemetry
from watchdog.simulation.parts import MeterSpec, Room, Schedule
from watchdog.simulation.scenario import Scenario

IDLE_S = 2.0 * 3600.0


def _quiet(dice: Random, printer: PrinterFacts, job: Job | None, until_s: float, events: tuple[Event, ...] = ()) -> Case:
    room = Room(((0.0, dice.uniform(17.0, 27.0)),))
    scenario = Scenario(printer=printer, setup=setups(dice, printer, job), events=events, room=room, telemetry=telemetry(dice))
    return Case(scenario=scenario, until_s=until_s)


def _with_schedules(case: Case, schedules: dict[str, Schedule]) -> Case:
    setup = {name: replace(entry, schedule=schedules.get(name, entry.schedule)) for name, entry in case.scenario.setup.items()}
    return replace(case, scenario=replace(case.scenario, setup=setup))


def lowered_target(dice: Random) -> Case:
    """Targets step down after the first layer: for minutes the readings stand far above them."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 2400.0)
    at_s = max(job.holding_s.values()) + 120.0
    schedules: dict[str, Schedule] = {}
    for name, target_c in job.target_c.items():
        lower_c = target_c - dice.uniform(10.0, 35.0)
        schedules[name] = (*job.schedule(name)[:1], (at_s, float(round(lower_c))), (job.end_s, 0.0))
    return _with_schedules(_quiet(dice, printer, job, job.end_s + 600.0), schedules)


def tool_change(dice: Random) -> Case:
    """The hotend is lowered to a standby temperature and heated again, over and over."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 2400.0)
    hot_c = job.target_c["hotend"]
    standby_c = float(round(hot_c - dice.uniform(40.0, 80.0)))
    at_s = job.holding_s["hotend"] + 60.0
    steps: list[tuple[float, float]] = [job.schedule("hotend")[0]]
    while at_s < job.end_s - 400.0:
        steps += [(at_s, standby_c), (at_s + 150.0, hot_c)]
        at_s += dice.uniform(280.0, 400.0)
    return _with_schedules(_quiet(dice, printer, job, job.end_s + 600.0), {"hotend": (*steps, (job.end_s, 0.0))})


def pause_with_time_out(dice: Random) -> Case:
    """A pause: after a while the hotend, then the bed goes off by itself; a person comes back and resumes."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 3000.0)
    pause_s = max(job.holding_s.values()) + 120.0
    off_s, back_s = pause_s + dice.uniform(120.0, 300.0), pause_s + dice.uniform(900.0, 1500.0)
    schedules: dict[str, Schedule] = {
        name: (job.schedule(name)[0], (off_s + (300.0 if name == "bed" else 0.0), 0.0), (back_s, job.target_c[name]), (job.end_s, 0.0))
        for name in job.target_c
    }
    return _with_schedules(_quiet(dice, printer, job, job.end_s + 600.0), schedules)


def cold_idle(dice: Random) -> Case:
    """An idle printer for hours: readings repeat in coarse steps, the room breathes a little."""
    printer = draw_printer(dice, strong=chance(dice, 0.5))
    case = _quiet(dice, printer, None, IDLE_S)
    room = Room(((0.0, dice.uniform(16.0, 22.0)), (IDLE_S, dice.uniform(16.0, 24.0))))
    setup = {name: replace(entry, sensors={"": sensor(dice, "bed", "coarse")}) for name, entry in case.scenario.setup.items()}
    return replace(case, scenario=replace(case.scenario, room=room, setup=setup))


def coarse_steady(dice: Random) -> Case:
    """A steady target and coarse steps: one value for many minutes."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 3000.0)
    case = _quiet(dice, printer, job, job.end_s + 300.0)
    setup = {
        name: replace(entry, control="well tuned", sensors={"": replace(sensor(dice, "bed", "coarse"), noise_k=0.02)})
        for name, entry in case.scenario.setup.items()
    }
    return replace(case, scenario=replace(case.scenario, setup=setup))


def tuning_run(dice: Random) -> Case:
    """A controller tuning run that reports its target."""
    return _tuning(dice, reports_off=False)


def tuning_run_unreported(dice: Random) -> Case:
    """A controller tuning run that reports "off": no guard can tell it from a switch that fails closed; it needs a bypass."""
    return replace(_tuning(dice, reports_off=True), expect="either")


def _tuning(dice: Random, *, reports_off: bool) -> Case:
    printer, heater = draw_printer(dice), dice.choice(("bed", "hotend"))
    around_c = 0.75 * printer.heaters[heater].normal_max_c
    start_s = dice.uniform(60.0, 200.0)
    return _quiet(dice, printer, None, 3600.0, (TuningStarts(start_s, heater, around_c, reports_off),))


def switched_off_warm(dice: Random) -> Case:
    """After the print, still warm and cooling, the owner switches the printer off; readings end."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 600.0)
    off_s = job.end_s + dice.uniform(300.0, 900.0)
    return _quiet(dice, printer, job, off_s + 1800.0, (MainSwitch(off_s, on=False),))


def switched_on_and_off(dice: Random) -> Case:
    """A cold printer is switched off, and on again the next hour."""
    printer = draw_printer(dice)
    off_s = dice.uniform(300.0, 900.0)
    return _quiet(dice, printer, None, IDLE_S, (MainSwitch(off_s, on=False), MainSwitch(off_s + 3600.0, on=True)))


def fans_and_lights(dice: Random) -> Case:
    """The meter sees lights, fans and the board come and go while nothing heats, and after a print."""
    printer = replace(draw_printer(dice), fans_w=dice.uniform(5.0, 12.0))
    job = a_print(dice, printer, 600.0)
    loads: list[Event] = []
    for at_s in (10.0, job.end_s + 200.0):
        loads += [OtherLoad(at_s, dice.uniform(5.0, 15.0)), OtherLoad(at_s + 300.0, 0.0)]
    case = _quiet(dice, printer, job, job.end_s + 1500.0, tuple(loads))
    meter = MeterSpec(period_s=dice.choice((5.0, 10.0)), lag_s=1.0)
    return replace(case, scenario=replace(case.scenario, telemetry=replace(case.scenario.telemetry, meter=meter)))


def slow_meter(dice: Random) -> Case:
    """A meter that speaks once a minute and follows slowly: it still shows heat when all has long been off."""
    case = fans_and_lights(dice)
    meter = MeterSpec(period_s=dice.choice((30.0, 60.0)), lag_s=dice.uniform(5.0, 15.0), resolution_w=1.0)
    return replace(case, scenario=replace(case.scenario, telemetry=replace(case.scenario.telemetry, meter=meter)))


def lagging_second_sensor(dice: Random) -> Case:
    """A second sensor on the bed lags and stands a few kelvin beside the first."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1200.0)
    case = _quiet(dice, printer, job, job.end_s + 900.0)
    bed = case.scenario.setup["bed"]
    second = replace(sensor(dice, "bed"), tau_s=dice.uniform(10.0, 30.0), offset_k=dice.uniform(-3.0, 3.0))
    setup = {**case.scenario.setup, "bed": replace(bed, sensors={**bed.sensors, "glued": second})}
    return replace(case, scenario=replace(case.scenario, setup=setup))
