"""Families of hazards: the switch, or the board behind it, heats by itself."""

from dataclasses import replace
from random import Random

from watchdog.simulation.case import Case
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import printer as draw_printer
from watchdog.simulation.events import BoardHangs, SwitchFails
from watchdog.simulation.job import a_print, setups, telemetry
from watchdog.simulation.parts import HeaterSetup
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensor_events import BridgeFreezes, LinkDown, SensorComesLoose
from watchdog.simulation.switching import SwitchMode

CLOSED_BOUND_S = 600.0
HALF_BOUND_S = 1200.0
HORIZON_S = 2400.0
BLIND_BOUND_S = 180.0


def _heater(dice: Random) -> str:
    return dice.choice(("bed", "bed", "hotend"))


def _idle(dice: Random, mode: SwitchMode, bound_s: float, onset_s: float) -> Case:
    printer, heater = draw_printer(dice), _heater(dice)
    scenario = Scenario(
        printer=printer,
        setup=setups(dice, printer, None),
        events=(SwitchFails(onset_s, heater, mode),),
        telemetry=telemetry(dice, meter=chance(dice, 0.3)),
    )
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=bound_s)


def _holding(dice: Random, mode: SwitchMode, bound_s: float, share: float) -> Case:
    printer, heater = draw_printer(dice), _heater(dice)
    job = a_print(dice, printer, 4.0 * HORIZON_S, share=share)
    onset_s = job.holding_s[heater] + dice.uniform(60.0, 600.0)
    scenario = Scenario(
        printer=printer,
        setup=setups(dice, printer, job),
        events=(SwitchFails(onset_s, heater, mode),),
        telemetry=telemetry(dice, meter=chance(dice, 0.3)),
    )
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=bound_s)


def _at_end(dice: Random, mode: SwitchMode, bound_s: float) -> Case:
    printer, heater = draw_printer(dice), _heater(dice)
    job = a_print(dice, printer, dice.uniform(300.0, 900.0), share=0.8)
    onset_s = job.end_s
    scenario = Scenario(
        printer=printer, setup=setups(dice, printer, job), events=(SwitchFails(onset_s, heater, mode),), telemetry=telemetry(dice)
    )
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=bound_s)


def closed_idle(dice: Random) -> Case:
    """The switch closes while the printer stands idle and cold."""
    return _idle(dice, "closed", CLOSED_BOUND_S, dice.uniform(120.0, 900.0))


def closed_from_start(dice: Random) -> Case:
    """The switch has failed before the power came: it heats from the first second."""
    return _idle(dice, "closed", CLOSED_BOUND_S, 0.0)


def closed_holding(dice: Random) -> Case:
    """The switch closes while the heater holds its target."""
    return _holding(dice, "closed", CLOSED_BOUND_S, 1.0)


def closed_at_end(dice: Random) -> Case:
    """The target is set to 0 and the switch no longer opens."""
    return _at_end(dice, "closed", CLOSED_BOUND_S)


def half_closed_idle(dice: Random) -> Case:
    """One half wave gets through while the printer stands idle."""
    return _idle(dice, "half closed", HALF_BOUND_S, dice.uniform(120.0, 900.0))


def half_closed_holding(dice: Random) -> Case:
    """One half wave gets through while little heat is needed."""
    return _holding(dice, "half closed", HALF_BOUND_S, 0.6)


def half_closed_at_end(dice: Random) -> Case:
    """The target is set to 0 and one half wave still gets through: it hardly cools, or heats on."""
    return _at_end(dice, "half closed", HALF_BOUND_S)


def closed_without_targets(dice: Random) -> Case:
    """The switch closes while holding, and the source tells temperatures and nothing else."""
    case = _holding(dice, "closed", CLOSED_BOUND_S, 1.0)
    return replace(case, scenario=replace(case.scenario, telemetry=telemetry(dice, targets=False)))


def closed_slow_and_coarse(dice: Random) -> Case:
    """The switch closes while idle; readings come every 5 to 10 s in coarse steps."""
    case = _idle(dice, "closed", CLOSED_BOUND_S, dice.uniform(120.0, 900.0))
    setup = setups(dice, case.scenario.printer, None, grain="coarse")
    return replace(case, scenario=replace(case.scenario, setup=setup, telemetry=telemetry(dice, slow=True)))


def closed_unseen(dice: Random) -> Case:
    """The switch closes while idle and the sensor has fallen out: only the power meter sees it."""
    case = _idle(dice, "closed", CLOSED_BOUND_S, dice.uniform(120.0, 900.0))
    events = (*case.scenario.events, SensorComesLoose(0.0, case.heater))
    return replace(case, scenario=replace(case.scenario, events=events, telemetry=telemetry(dice, meter=True)))


def chamber_closed(dice: Random) -> Case:
    """The switch of a chamber heater closes while it holds."""
    printer = draw_printer(dice, chamber=True)
    job = a_print(dice, printer, 4.0 * HORIZON_S, heaters=("chamber",))
    onset_s = job.holding_s["chamber"] + dice.uniform(60.0, 600.0)
    scenario = Scenario(
        printer=printer, setup=setups(dice, printer, job), events=(SwitchFails(onset_s, "chamber"),), telemetry=telemetry(dice)
    )
    return Case(
        scenario=scenario, until_s=onset_s + 2.0 * HORIZON_S, expect="trip", heater="chamber", onset_s=onset_s, bound_s=2.0 * CLOSED_BOUND_S
    )


def _hung(dice: Random, *, repeats: bool) -> Case:
    """The board hangs in the middle of a heat-up, its output on."""
    printer, heater = draw_printer(dice), _heater(dice)
    job = a_print(dice, printer, 4.0 * HORIZON_S, heaters=(heater,))
    onset_s = job.heats_s[heater] + (0.25 if heater == "bed" else 0.15) * (job.holding_s[heater] - job.heats_s[heater])
    what = BridgeFreezes(onset_s) if repeats else LinkDown(onset_s, will=chance(dice, 0.5))
    scenario = Scenario(
        printer=printer, setup=setups(dice, printer, job, grain="fine"), events=(what, BoardHangs(onset_s)), telemetry=telemetry(dice)
    )
    return Case(scenario=scenario, until_s=onset_s + HORIZON_S, expect="trip", heater=heater, onset_s=onset_s, bound_s=BLIND_BOUND_S)


def board_hung_repeating(dice: Random) -> Case:
    """The board hangs while heating; something repeats its last message for ever."""
    return _hung(dice, repeats=True)


def board_hung_silent(dice: Random) -> Case:
    """The board hangs while heating and says nothing more."""
    return _hung(dice, repeats=False)


def leaking(dice: Random) -> Case:
    """The switch leaks a few per cent: no harm comes of it, and a guard may say so or cut."""
    printer, heater = draw_printer(dice, strong=False), "bed"
    fails = SwitchFails(dice.uniform(60.0, 300.0), heater, "leaking", dice.uniform(0.02, 0.06))
    setup: dict[str, HeaterSetup] = setups(dice, printer, None)
    scenario = Scenario(printer=printer, setup=setup, events=(fails,), telemetry=telemetry(dice, meter=True))
    return Case(scenario=scenario, until_s=HORIZON_S, expect="either", heater=heater, onset_s=fails.at_s)
