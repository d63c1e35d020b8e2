"""Families of hazards: hours of a healthy mixture, and then a fault."""

from collections.abc import Callable
from dataclasses import replace
from random import Random

from watchdog.core.observing import HOUR_S
from watchdog.simulation import mishaps
from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.events import Event, MainSwitch, SwitchFails
from watchdog.simulation.habits import HABITS
from watchdog.simulation.hazards_sensor import (
    FROZEN_BOUND_S,
    JUMPING_BOUND_S,
    OPEN_BOUND_S,
    SILENT_BOUND_S,
    UNHEATED_BOUND_S,
    rattling,
)
from watchdog.simulation.hazards_switch import CLOSED_BOUND_S, HALF_BOUND_S, HORIZON_S
from watchdog.simulation.night import Night, wire_troubles
from watchdog.simulation.parts import Telemetry
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensor_events import (
    BridgeFreezes,
    LinkDown,
    SensorComesLoose,
    SensorFreezes,
    SensorShows,
    TemperatureMissing,
)
from watchdog.simulation.switching import SwitchMode
from watchdog.simulation.traps_night import a_printer, a_room, between_prints, heater_setups, said

COLD_AFTER_S = (2400.0, 5400.0)
"""So long nothing heats before a heat-up that must be one from the cold."""

BRIEF = (mishaps.small_steps, mishaps.part_fan, mishaps.lights, mishaps.wrench, mishaps.nothing)
"""What may have happened just before a fault, and does not hide it."""

What = Callable[[float, str], tuple[Event, ...]]


def _heater(dice: Random) -> str:
    return dice.choice(("bed", "bed", "hotend"))


def _healthy(dice: Random) -> Night:
    """An hour to three of prints or odd habits, then all is off."""
    night = Night(dice, a_printer(dice, strong=True))
    until_s = dice.uniform(0.8, 2.5) * HOUR_S
    if chance(dice, 0.5):
        mishaps.a_print(night, until_s - night.now_s)
        between_prints(night)
    else:
        night.some(HABITS, until_s, (5.0, 600.0))
    night.off()
    return night


def _case(night: Night, heater: str, what: What, bound_s: float, spec: Telemetry | None = None) -> Case:
    """The story so far, and the fault now."""
    dice, onset_s = night.dice, night.now_s
    wire_troubles(night, onset_s - 30.0)
    scenario = Scenario(
        printer=night.printer,
        setup=heater_setups(night),
        events=(*night.events, *what(onset_s, heater)),
        room=a_room(dice, onset_s + HORIZON_S),
        telemetry=spec or said(dice),
    )
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=bound_s)


def _holding(dice: Random, share: float = 1.0, least: float = 0.0) -> Night:
    """A print that has long reached its targets; something small may just have happened."""
    night = _healthy(dice)
    night.heat({name: night.usual_c(name, share, least) for name in night.printer.heaters})
    night.wait(60.0, 600.0)
    if chance(dice, 0.5):
        dice.choice(BRIEF)(night)
    night.wait(60.0, 600.0)
    return night


def _heating(dice: Random, heater: str) -> Night:
    """A heater a fifth to a third of its way up from the cold to a high target."""
    night = _healthy(dice)
    night.wait(*COLD_AFTER_S)
    night.ask(heater, night.usual_c(heater, least=0.85))
    night.now_s += dice.uniform(0.15, 0.3) * night.heats_s(heater, night.target_c[heater])
    return night


def _closes(mode: SwitchMode) -> What:
    return lambda at_s, heater: (SwitchFails(at_s, heater, mode),)


def night_closed_off(dice: Random) -> Case:
    """All is off, for seconds or for an hour; then a switch closes."""
    heater, night = _heater(dice), _healthy(dice)
    night.wait(0.0, dice.choice((120.0, 1200.0, HOUR_S)))
    return _case(night, heater, _closes("closed"), CLOSED_BOUND_S)


def night_half_closed_off(dice: Random) -> Case:
    """All has been off for long; then one half wave gets through."""
    heater, night = _heater(dice), _healthy(dice)
    night.wait(*COLD_AFTER_S)
    return _case(night, heater, _closes("half closed"), HALF_BOUND_S)


def night_closed_at_power_on(dice: Random) -> Case:
    """The switch has closed while the printer was dark: it heats as soon as the main switch goes on."""
    heater, night = _heater(dice), _healthy(dice)
    night.wait(300.0, 1800.0)
    night.tell(MainSwitch(night.now_s, on=False))
    night.wait(30.0, 1800.0)
    return _case(night, heater, lambda at_s, name: (SwitchFails(at_s, name), MainSwitch(at_s, on=True)), CLOSED_BOUND_S)


def night_closed_holding(dice: Random) -> Case:
    """A switch closes in the middle of a print."""
    heater = _heater(dice)
    return _case(_holding(dice), heater, _closes("closed"), CLOSED_BOUND_S)


def night_half_closed_holding(dice: Random) -> Case:
    """One half wave gets through in a print that needs little heat."""
    heater = _heater(dice)
    return _case(_holding(dice, 0.6), heater, _closes("half closed"), HALF_BOUND_S)


def night_closed_at_end(dice: Random) -> Case:
    """The print ends and a switch no longer opens."""
    heater, night = _heater(dice), _holding(dice, 0.8)
    night.off()
    return _case(night, heater, _closes("closed"), CLOSED_BOUND_S)


def night_loose_holding(dice: Random) -> Case:
    """A sensor falls out in the middle of a print."""
    heater, seat = _heater(dice), dice.uniform(0.0, 0.003)
    return _case(_holding(dice, least=0.9), heater, lambda at_s, name: (SensorComesLoose(at_s, name, seat),), UNHEATED_BOUND_S)


def night_loose_heating(dice: Random) -> Case:
    """A sensor falls out in a heat-up."""
    heater, seat = _heater(dice), dice.uniform(0.0, 0.003)
    return _case(_heating(dice, heater), heater, lambda at_s, name: (SensorComesLoose(at_s, name, seat),), UNHEATED_BOUND_S)


def night_frozen_heating(dice: Random) -> Case:
    """The controller itself sees one value for ever, in a heat-up."""
    heater = _heater(dice)
    return _case(_heating(dice, heater), heater, lambda at_s, name: (SensorFreezes(at_s, name),), UNHEATED_BOUND_S)


def night_bridge_frozen_heating(dice: Random) -> Case:
    """Something on the way repeats its last message, in a heat-up; the printer is well and unseen."""
    heater = _heater(dice)
    spec = replace(said(dice), on_change_k=None)
    return _case(_heating(dice, heater), heater, lambda at_s, _name: (BridgeFreezes(at_s),), FROZEN_BOUND_S, spec)


def night_wire(dice: Random) -> Case:
    """A sensor's wire breaks, or its wires touch, in a heat-up or a print."""
    heater = _heater(dice)
    night = _holding(dice) if chance(dice, 0.5) else _heating(dice, heater)
    shown_c = dice.choice((-42.4, -51.9, -273.15, 725.0, 938.0, 1266.0))
    return _case(night, heater, lambda at_s, name: (SensorShows(at_s, name, shown_c),), OPEN_BOUND_S)


def night_silent(dice: Random) -> Case:
    """Readings stop, or come without a temperature, in a heat-up or a print; the printer goes on unseen."""
    heater = _heater(dice)
    night = _holding(dice) if chance(dice, 0.5) else _heating(dice, heater)
    what = dice.choice(
        (
            lambda at_s, _name: (LinkDown(at_s, will=True),),
            lambda at_s, _name: (LinkDown(at_s),),
            lambda at_s, name: (TemperatureMissing(at_s, names=(name,)),),
        )
    )
    spec = replace(said(dice), presence=False)  # a proof of life without any reading would hide that none has a temperature
    return _case(night, heater, what, SILENT_BOUND_S, spec)


def night_jumping(dice: Random) -> Case:
    """A bad plug in the middle of a print: the reading jumps by tens of kelvin, again and again."""
    heater = _heater(dice)
    night = _holding(dice, 0.8)
    return _case(night, heater, lambda at_s, name: rattling(dice, at_s, name), JUMPING_BOUND_S)
