"""Families of traps: a whole night of a healthy printer, and the odd ways of its owner."""

from dataclasses import replace
from random import Random

from watchdog.core.observing import HOUR_S
from watchdog.simulation import mishaps
from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.habits import HABITS
from watchdog.simulation.job import sensor, setups, telemetry
from watchdog.simulation.night import Night, wire_troubles
from watchdog.simulation.parts import Control, HeaterSetup, MeterSpec, Room, Telemetry
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensor_events import LinkDown

SURELY_COOLING_S = 400.0
"""So long after a print has ended every heater is seen to cool, and its silence is no danger."""


def a_printer(dice: Random, *, strong: bool | None = None) -> PrinterFacts:
    """Any printer: open or in a box, with or without a heated chamber."""
    strong = chance(dice, 0.5) if strong is None else strong
    kind = dice.choice(("open", "open", "box", "chamber"))
    return draw_printer(dice, strong=strong, enclosed=kind == "box", chamber=kind == "chamber")


def said(dice: Random, *, targets: bool = True) -> Telemetry:
    """Any of the ways in which printers are reported, with their targets or without."""
    base = telemetry(dice, slow=chance(dice, 0.15), targets=targets)
    base = replace(base, duplicates=dice.choice((0.0, 0.0, 0.1)), nulls=dice.choice((0.0, 0.0, 0.02)))
    base = replace(base, target_late_s=dice.uniform(0.5, 3.0) if chance(dice, 0.15) else 0.0)
    if chance(dice, 0.4):
        base = replace(base, meter=MeterSpec(period_s=dice.choice((5.0, 10.0, 30.0, 60.0)), lag_s=dice.choice((0.5, 3.0, 8.0, 15.0))))
    if chance(dice, 0.2):
        on_change_k, heartbeat_s = dice.choice((0.1, 0.25, 0.5)), dice.choice((15.0, 30.0, 40.0))
        base = replace(base, period_s=1.0, nulls=0.0, on_change_k=on_change_k, heartbeat_s=heartbeat_s, presence=chance(dice, 0.5))
    return base


def heater_setups(night: Night) -> dict[str, HeaterSetup]:
    """Controllers and sensors, now and then a second sensor on the bed that lags and stands beside the first."""
    dice = night.dice
    control: Control | None = "badly tuned" if night.rings else None
    setup = setups(dice, night.printer, None, control)
    if chance(dice, 0.3):
        second = replace(sensor(dice, "bed"), tau_s=dice.uniform(10.0, 30.0), offset_k=dice.uniform(-3.0, 3.0))
        setup["bed"] = replace(setup["bed"], sensors={**setup["bed"].sensors, "glued": second})
    return setup


def a_room(dice: Random, until_s: float) -> Room:
    """It cools down by night; in the morning the sun comes, or somebody heats."""
    evening_c = dice.uniform(17.0, 27.0)
    night_c = evening_c - dice.uniform(0.0, 9.0)
    dawn_s = dice.uniform(0.4, 0.8) * until_s
    sun_s = dawn_s + dice.uniform(1800.0, 2.0 * HOUR_S)
    return Room(((0.0, evening_c), (dawn_s, night_c), (sun_s, night_c + dice.uniform(0.0, 15.0))))


def case_of(night: Night, until_s: float) -> Case:
    """The story as a case that must stay quiet."""
    dice, printer = night.dice, night.printer
    wire_troubles(night, until_s)
    scenario = Scenario(
        printer=printer,
        setup=heater_setups(night),
        events=tuple(night.events),
        room=a_room(dice, until_s),
        telemetry=said(dice, targets=chance(dice, 0.9)),
    )
    return Case(scenario=scenario, until_s=until_s)


def between_prints(night: Night) -> None:
    """What comes after a print: the next one at once on a warm bed, hours of nothing, a router that restarts, the main switch."""
    dice = night.dice
    what = dice.choice(("at once", "soon", "long", "router", "off warm", "off and on"))
    if what == "at once":
        night.wait(5.0, 120.0)
    elif what == "soon":
        night.wait(120.0, 900.0)
        if chance(dice, 0.5):
            mishaps.cold_sheet(night)
    elif what == "off warm":
        night.wait(30.0, 1200.0)
        night.dark(600.0, HOUR_S)
    elif what == "off and on":
        night.wait(30.0, 600.0)
        night.dark(3.0, 60.0)
    else:
        night.wait(SURELY_COOLING_S, 1800.0)
        if what == "router":
            night.tell(LinkDown(night.now_s, dice.uniform(60.0, 180.0), will=chance(dice, 0.5)))
            night.wait(200.0, 900.0)
        else:
            night.wait(1200.0, 1.5 * HOUR_S)


def prints(night: Night, until_s: float) -> None:
    """One print after the other, until `until_s` has passed."""
    while night.now_s < until_s:
        left_s = until_s - night.now_s
        mishaps.a_print(night, night.dice.uniform(300.0, max(600.0, 0.7 * left_s)), night.dice.choice((0.8, 1.0)))
        between_prints(night)


def long_night(dice: Random) -> Case:
    """Six to ten hours: one print or several, with all that a healthy printer goes through in a mixture."""
    night = Night(dice, a_printer(dice))
    until_s = dice.uniform(6.0, 10.0) * HOUR_S
    prints(night, until_s - 0.5 * HOUR_S)
    return case_of(night, until_s)


def owner_habits(dice: Random) -> Case:
    """Two to four hours of an owner's odd ways."""
    night = Night(dice, a_printer(dice))
    until_s = dice.uniform(2.0, 4.0) * HOUR_S
    night.some(HABITS, until_s - 0.2 * HOUR_S, (5.0, 600.0))
    return case_of(night, until_s)
