"""Families of traps: whole nights of a healthy printer, and the odd ways of its owner, with all that other families try alone."""

from dataclasses import replace
from random import Random

from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.diary import ACTS, Diary, sheet
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import MainSwitch
from watchdog.simulation.habits import HABITS
from watchdog.simulation.job import a_print, sensor, setups, telemetry
from watchdog.simulation.parts import Room
from watchdog.simulation.scenario import Scenario

NIGHT_S = 6.0 * 3600.0
HABITS_S = 2.5 * 3600.0


def _prints(diary: Diary, until_s: float) -> float:
    """One print after another until then; the end of the last one. Each comes minutes or an hour after the one before, warm or cold."""
    dice, at_s = diary.dice, diary.dice.uniform(20.0, 600.0)
    while True:
        job = a_print(dice, diary.printer, 0.0, start_s=at_s, share=dice.uniform(0.7, 1.0), heaters=("bed", "hotend"))
        for heater in job.target_c:
            diary.ask(job.heats_s[heater], heater, job.target_c[heater])
        at_s = max(job.holding_s.values()) + dice.uniform(60.0, 300.0)
        end_s = at_s + dice.uniform(1200.0, 7200.0)
        acts = [act for act in ACTS if act is not sheet or dice.random() < 0.5]  # noqa: PLR2004 - some owners never do
        while at_s < end_s:
            at_s += dice.choice(acts)(diary, at_s) + dice.uniform(60.0, 900.0)
        for heater in ("hotend", "bed"):
            diary.ask(at_s, heater, 0.0)
        if at_s > until_s - 4000.0:
            return at_s
        at_s += dice.choice((120.0, 400.0, 1500.0, 3600.0))


def _night(diary: Diary, end_s: float, room: Room) -> Case:
    dice = diary.dice
    setup = {
        name: replace(entry, schedule=tuple(sorted(diary.targets.get(name, ()))))
        for name, entry in setups(dice, diary.printer, None).items()
    }
    if chance(dice, 0.3):
        lagging = replace(sensor(dice, "bed"), tau_s=dice.uniform(10.0, 30.0), offset_k=dice.uniform(-3.0, 3.0))
        setup["bed"] = replace(setup["bed"], sensors={**setup["bed"].sensors, "glued": lagging})
    told = replace(
        telemetry(dice, meter=chance(dice, 0.5)),
        duplicates=dice.choice((0.0, 0.02)), nulls=dice.choice((0.0, 0.005)), glitches=dice.choice((0.0, 0.0005)),
    )  # fmt: skip
    scenario = Scenario(
        printer=diary.printer, setup=setup, events=tuple(sorted(diary.events, key=lambda event: event.at_s)), room=room, telemetry=told
    )
    return Case(scenario=scenario, until_s=end_s)


def long_night(dice: Random) -> Case:
    """Hours of prints, with pauses, drafts, fans, sheets, a wrench, links that drop and a room that cools down until the morning."""
    diary = Diary(dice, draw_printer(dice, enclosed=chance(dice, 0.3)))
    end_s = _prints(diary, NIGHT_S) + dice.uniform(900.0, 3000.0)
    if chance(dice, 0.4):
        diary.events.append(MainSwitch(end_s - dice.uniform(100.0, 600.0), on=False))
    evening_c = dice.uniform(19.0, 27.0)
    return _night(diary, end_s, Room(((0.0, evening_c), (0.7 * end_s, evening_c - dice.uniform(0.0, 7.0)), (end_s, evening_c + 2.0))))


def owner_habits(dice: Random) -> Case:
    """Preheats and forgets, starts and cancels, turns targets by hand, pulls cold, levels at several temperatures, switches off and on."""
    diary = Diary(dice, draw_printer(dice))
    at_s = dice.uniform(20.0, 200.0)
    while at_s < HABITS_S:
        habit = dice.choice(HABITS)
        at_s = habit(diary, at_s) + dice.uniform(30.0, 900.0)
    for heater in ("bed", "hotend"):
        diary.ask(at_s, heater, 0.0)
    return _night(diary, at_s + 1200.0, Room(((0.0, dice.uniform(17.0, 27.0)),)))
