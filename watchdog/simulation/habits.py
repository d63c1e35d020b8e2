"""Pieces of a long night: the odd ways in which owners use a healthy printer. Each ends with everything off, or nearly so."""

from watchdog.simulation import mishaps
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import ROOM_C
from watchdog.simulation.events import ToolMoves
from watchdog.simulation.night import Night


def forgotten_preheat(night: Night) -> None:
    """Preheated and forgotten, until the printer's idle time-out switches off."""
    night.heat({heater: night.usual_c(heater) for heater in night.printer.heaters})
    night.wait(300.0, 1800.0)
    night.off("hotend")
    night.wait(0.0, 300.0)
    night.off()


def bed_alone(night: Night) -> None:
    """Only the bed heats, to warm what is around it; a cold tool is lowered to it and lifted."""
    night.heat({"bed": night.usual_c("bed")})
    for _ in range(night.dice.randint(0, 4)):
        night.tell(ToolMoves(night.now_s, night.dice.uniform(0.02, 0.45)))
        night.wait(60.0, 900.0)
    night.wait(300.0, 1800.0)
    night.off()


def cancelled_heat_ups(night: Night) -> None:
    """Cancelled in the middle of the heat-up, and started again, several times."""
    targets_c = {heater: night.usual_c(heater) for heater in night.printer.heaters}
    for _ in range(night.dice.randint(1, 5)):
        for heater, target_c in targets_c.items():
            night.ask(heater, target_c)
        night.wait(5.0, 0.7 * max(night.heats_s(heater, target_c) for heater, target_c in targets_c.items()))
        night.off()
        night.wait(2.0, 240.0)


def one_kelvin_steps(night: Night) -> None:
    """The target is turned by one kelvin, and again, and again: at a wheel, upwards, downwards or to and fro."""
    heater = night.dice.choice(("bed", "hotend"))
    night.heat({heater: night.usual_c(heater, 0.9)})
    for _ in range(night.dice.randint(1, 4)):
        step_k, slowest_s = night.dice.choice((-1.0, 1.0, 0.0)), night.dice.choice((1.0, 5.0, 30.0))
        for _ in range(night.dice.randint(5, 40)):
            night.ask(heater, max(20.0, night.target_c[heater] + (step_k or night.dice.choice((-1.0, 1.0)))))
            night.wait(0.3, slowest_s)
        night.wait(30.0, 600.0)
    night.off()


def off_for_seconds(night: Night) -> None:
    """Off by mistake, and on again some seconds later."""
    targets_c = {heater: night.usual_c(heater) for heater in night.printer.heaters}
    night.heat(targets_c)
    for _ in range(night.dice.randint(1, 6)):
        heater = night.dice.choice(tuple(targets_c))
        night.off(heater)
        night.wait(1.0, 40.0)
        night.ask(heater, targets_c[heater])
        night.wait(5.0, 400.0)
    night.off()


def cold_pull(night: Night) -> None:
    """The hotend is heated far up, switched off, and then held at a low temperature."""
    night.heat({"hotend": 250.0})
    night.wait(60.0, 300.0)
    night.off("hotend")
    night.wait(10.0, 500.0)
    night.ask("hotend", night.dice.uniform(80.0, 120.0))
    night.wait(300.0, 900.0)
    night.off()


def hot_nozzle_change(night: Night) -> None:
    """A wrench on the hot nozzle, the nozzle off and another one on."""
    night.heat({"hotend": night.printer.heaters["hotend"].normal_max_c})
    for _ in range(night.dice.randint(2, 4)):
        mishaps.wrench(night)
        night.wait(30.0, 240.0)
    night.off()


def other_filament(night: Night) -> None:
    """Filament changes with the hotend off, then hotter than before, then at another temperature."""
    night.heat({"hotend": night.usual_c("hotend")})
    for _ in range(night.dice.randint(1, 3)):
        mishaps.filament_change(night)
        night.ask("hotend", night.usual_c("hotend"))
        night.wait(60.0, 300.0)
    night.off()


def levelling(night: Night) -> None:
    """The bed is measured at several temperatures, up and down."""
    for _ in range(night.dice.randint(3, 5)):
        night.ask("bed", night.dice.uniform(35.0, night.printer.heaters["bed"].normal_max_c))
        night.wait(300.0, 900.0)
        if chance(night.dice, 0.3):
            night.ask("hotend", night.dice.uniform(120.0, 180.0))
    night.off()


def switched_off_heating(night: Night) -> None:
    """The main switch goes off in the middle of a heat-up, and on again before its silence is a danger; it is heated again, or not."""
    for heater in night.printer.heaters:
        night.ask(heater, night.usual_c(heater))
    night.wait(20.0, 400.0)
    night.dark(1.0, 15.0)
    if chance(night.dice, 0.7):
        night.heat({heater: night.usual_c(heater) for heater in night.printer.heaters})
        night.wait(0.0, 600.0)
        night.off()


def already_hotter(night: Night) -> None:
    """Off, and soon a target below what the heater still has."""
    heater = night.dice.choice(("bed", "hotend"))
    night.heat({heater: night.printer.heaters[heater].normal_max_c})
    if chance(night.dice, 0.6):
        night.off(heater)
        night.wait(1.0, 240.0)
    night.ask(heater, night.dice.uniform(0.35, 0.8) * night.printer.heaters[heater].normal_max_c)
    night.wait(60.0, 1800.0)
    night.off()


def very_low_targets(night: Night) -> None:
    """A target not far above the room, just at it, or below it."""
    for _ in range(night.dice.randint(1, 3)):
        heater = night.dice.choice(tuple(night.printer.heaters))
        low_c = night.dice.choice((ROOM_C - 7.0, ROOM_C, ROOM_C + 2.0, 28.0, 35.0, 40.0, 100.0 if heater == "hotend" else 30.0))
        night.ask(heater, low_c)
        night.wait(300.0, 1800.0)
    night.off()


def a_short_print(night: Night) -> None:
    """Between all that, a print."""
    mishaps.a_print(night, night.dice.uniform(300.0, 1200.0))


HABITS = (
    forgotten_preheat, bed_alone, cancelled_heat_ups, one_kelvin_steps, off_for_seconds, cold_pull, hot_nozzle_change, other_filament,
    levelling, switched_off_heating, already_hotter, very_low_targets, a_short_print,
)  # fmt: skip
