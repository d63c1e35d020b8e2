"""Families of traps: heat that moves in ways a guard must let pass. Nothing is wrong in any of them."""

from dataclasses import replace
from random import Random

from watchdog.simulation import bodies
from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import ROOM_C
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import Draft, Event, LaidOn, TakenOff, ToolMoves
from watchdog.simulation.facts import HeaterFacts, PrinterFacts
from watchdog.simulation.job import Job, a_print, setups, telemetry
from watchdog.simulation.parts import Control, Room
from watchdog.simulation.scenario import Scenario

STEEL_J_PER_M2K = 7850.0 * 480.0 / 1000.0
"""A steel sheet of 1 mm."""

WATER_J_PER_GK = 4.18
COOLING_S = 3600.0


def _quiet(
    dice: Random, printer: PrinterFacts, job: Job | None, until_s: float, events: tuple[Event, ...] = (), room: Room | None = None
) -> Case:
    scenario = Scenario(
        printer=printer,
        setup=setups(dice, printer, job),
        events=events,
        room=room or Room(((0.0, dice.uniform(17.0, 27.0)),)),
        telemetry=telemetry(dice, meter=chance(dice, 0.3)),
    )
    return Case(scenario=scenario, until_s=until_s)


def _bed(printer: PrinterFacts) -> tuple[HeaterFacts, float]:
    return printer.heaters["bed"], bodies.area_m2(printer.heaters["bed"])


def ordinary_print(dice: Random) -> Case:
    """Heat up, hold, end, cool."""
    printer = draw_printer(dice, strong=chance(dice, 0.5), enclosed=chance(dice, 0.3))
    job = a_print(dice, printer, dice.uniform(600.0, 2400.0))
    return _quiet(dice, printer, job, job.end_s + 1200.0)


def stored_heat(dice: Random) -> Case:
    """The target goes to 0 in the middle of a heat-up: mat and cartridge are hotter than the sensor, which goes on rising."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 60.0)
    setup = setups(dice, printer, job)
    for name in setup:
        stop_s = job.heats_s[name] + dice.uniform(0.3, 0.6) * (job.holding_s[name] - job.heats_s[name])
        setup[name] = replace(setup[name], schedule=((job.heats_s[name], job.target_c[name]), (stop_s, 0.0)))
    case = _quiet(dice, printer, job, job.end_s + 900.0)
    return replace(case, scenario=replace(case.scenario, setup=setup))


def warm_chamber(dice: Random) -> Case:
    """Only the chamber and the bed heat, in a box: the idle hotend warms up with them."""
    printer = draw_printer(dice, chamber=True)
    job = a_print(dice, printer, 2400.0, heaters=("bed", "chamber"))
    return _quiet(dice, printer, job, job.end_s + COOLING_S)


def warm_neighbour(dice: Random) -> Case:
    """A hotend parked close to a hot bed, unheated."""
    printer = replace(draw_printer(dice), parked_coupling=dice.uniform(0.25, 0.45))
    job = a_print(dice, printer, 1800.0, heaters=("bed",))
    return _quiet(dice, printer, job, job.end_s + 900.0)


def sunny_garage(dice: Random) -> Case:
    """A cold room warms up by the hour, and cools again; all is off."""
    low_c, high_c = dice.uniform(2.0, 12.0), dice.uniform(28.0, 40.0)
    morning_s = dice.uniform(600.0, 1800.0)
    room = Room(((0.0, low_c), (morning_s, low_c), (morning_s + dice.uniform(3600.0, 7200.0), high_c), (4.0 * 3600.0, high_c - 10.0)))
    return _quiet(dice, draw_printer(dice, strong=chance(dice, 0.5)), None, 4.0 * 3600.0, room=room)


def winter_garage(dice: Random) -> Case:
    """A print in the frost: it starts at -8 to 2 degrees Celsius."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 600.0, share=0.8)
    return _quiet(dice, printer, job, job.end_s + 600.0, room=Room(((0.0, dice.uniform(-8.0, 2.0)),)))


def cold_tool_lifted(dice: Random) -> Case:
    """A cold tool is lowered to a warm bed and lifted off it again, several times."""
    printer = replace(draw_printer(dice), parked_coupling=0.02)
    job = a_print(dice, printer, 1800.0, heaters=("bed",))
    near = dice.uniform(0.3, 0.5)
    moves: list[Event] = []
    at_s = job.holding_s["bed"]
    while at_s < job.end_s:
        moves += (ToolMoves(at_s, near), ToolMoves(at_s + 180.0, 0.02))
        at_s += 420.0
    return _quiet(dice, printer, job, job.end_s + 600.0, tuple(moves))


def weak_bed(dice: Random) -> Case:
    """A bed near its plateau: full power for long, and the last kelvins take for ever, or are never reached."""
    printer = draw_printer(dice, strong=False)
    facts, true = printer.heaters["bed"], printer.true["bed"]
    target_c = facts.normal_max_c
    top_c = target_c * dice.uniform(0.98, 1.06)
    chain = bodies.bed(facts, true, ROOM_C)
    full_w = facts.rated_w * true.power_factor
    for _ in range(6):  # losses grow a little faster than the excess: a few corrections find the power for this plateau
        full_w *= (top_c - ROOM_C) / (bodies.steady_c(chain, full_w, ROOM_C, 1.0, true.power_per_k)[1] - ROOM_C)
    weak = replace(printer, heaters={**printer.heaters, "bed": replace(facts, rated_w=float(round(full_w / true.power_factor)))})
    job = a_print(dice, weak, 600.0, heaters=("bed",))
    job = replace(job, target_c={"bed": target_c}, end_s=job.start_s + 5400.0)
    return _quiet(dice, weak, job, job.end_s + 300.0)


def draft(dice: Random) -> Case:
    """A window opens in the heat-up, and again while holding."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1500.0, share=0.8)
    first_s = 0.5 * (job.start_s + job.holding_s["bed"])
    second_s = job.holding_s["hotend"] + 300.0
    factor = dice.uniform(1.8, 3.0)
    events = (Draft(first_s, factor), Draft(first_s + 240.0, 1.0), Draft(second_s, factor), Draft(second_s + 600.0, 1.0))
    return _quiet(dice, printer, job, job.end_s + 300.0, events)


def part_fan(dice: Random) -> Case:
    """Part cooling starts at full speed on a hot nozzle, stops, and starts again."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1500.0, share=0.85)
    at_s = job.holding_s["hotend"]
    factor = dice.uniform(2.5, 5.0)
    events = tuple(Draft(at_s + 120.0 * n, factor if n % 2 == 0 else 1.0, "hotend") for n in range(8))
    return _quiet(dice, printer, job, job.end_s + 300.0, events)


def steel_sheet(dice: Random) -> Case:
    """A cold steel sheet is laid on the hot bed."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1800.0, share=0.8)
    _, area = _bed(printer)
    at_s = job.holding_s["bed"] + dice.uniform(60.0, 400.0)
    sheet = LaidOn(at_s, "bed", STEEL_J_PER_M2K * area * dice.uniform(0.5, 1.0), dice.uniform(60.0, 150.0) * area, area)
    return _quiet(dice, printer, job, job.end_s + 300.0, (sheet,))


def wet_cloth(dice: Random) -> Case:
    """The bed is wiped with a wet cloth that stays on it for a while."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1800.0, share=0.8)
    _, area = _bed(printer)
    at_s = job.holding_s["bed"] + dice.uniform(60.0, 400.0)
    water_g, share = dice.uniform(15.0, 50.0), dice.uniform(0.2, 0.5)
    cloth = LaidOn(at_s, "bed", WATER_J_PER_GK * water_g + 15.0, 80.0 * area * share, area * share, water_g)
    return _quiet(dice, printer, job, job.end_s + 300.0, (cloth, TakenOff(at_s + dice.uniform(40.0, 180.0), "bed")))


def wrench(dice: Random) -> Case:
    """A cold wrench on the hot nozzle: 20 to 40 K less for a minute."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1200.0, share=0.9)
    at_s = job.holding_s["hotend"] + dice.uniform(60.0, 300.0)
    tool = LaidOn(at_s, "hotend", dice.uniform(20.0, 45.0), dice.uniform(0.15, 0.35), 0.004)
    return _quiet(dice, printer, job, job.end_s + 300.0, (tool, TakenOff(at_s + dice.uniform(40.0, 120.0), "hotend")))


def slow_cooling(dice: Random) -> Case:
    """A big plate in a warm box after a long print."""
    printer = draw_printer(dice, enclosed=True)
    big = replace(printer.heaters["bed"], plate_mm=dice.choice((8.0, 10.0, 12.0)), plate_material="aluminium")
    true = replace(printer.true["bed"], underside=0.15)
    printer = replace(printer, heaters={**printer.heaters, "bed": big}, true={**printer.true, "bed": true})
    job = a_print(dice, printer, 2400.0)
    return _quiet(dice, printer, job, job.end_s + 2.0 * COOLING_S)


def hot_hotend(dice: Random) -> Case:
    """A hotend at 400 degrees Celsius and more."""
    printer = draw_printer(dice, very_hot=True)
    job = a_print(dice, printer, 900.0)
    job = replace(job, target_c={**job.target_c, "hotend": printer.heaters["hotend"].normal_max_c}, end_s=job.end_s + 300.0)
    return _quiet(dice, printer, job, job.end_s + 900.0)


def with_control(case: Case, dice: Random, job: Job, control: Control) -> Case:
    """The same case with another controller everywhere."""
    return replace(case, scenario=replace(case.scenario, setup=setups(dice, case.scenario.printer, job, control)))


def ringing_loop(dice: Random) -> Case:
    """A badly tuned loop that overshoots by many kelvin, and again."""
    printer = draw_printer(dice)
    job = a_print(dice, printer, 1800.0, share=0.8)
    return with_control(_quiet(dice, printer, job, job.end_s + 300.0), dice, job, "badly tuned")
