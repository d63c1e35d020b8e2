"""A long time at a printer, written down piece by piece: who asks for what, and what happens meanwhile."""

from collections.abc import Callable
from random import Random

from watchdog.simulation.chance import chance
from watchdog.simulation.draw import ROOM_C
from watchdog.simulation.events import Event, MainSwitch
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.hands import Asked
from watchdog.simulation.job import heat_up_s
from watchdog.simulation.sensor_events import Glitch, LinkDown

LOW_C = {"bed": 45.0, "hotend": 180.0, "chamber": 40.0}
RINGING = 0.8
SHORT_GAP_S = (4.0, 14.0)
GLITCHES_C = (0.0, 999.0, -50.0, 850.0, 85.0)
GLITCHES_APART_S = 30.0


class Night:
    """A printer under way. `now_s` is how far its story is told, in seconds of the scenario; pieces are appended there.

    `target_c` holds what each heater was asked for last, in degrees Celsius; 0 is off. A printer with a `rings` loop overshoots,
    and so its owner stays away from the hottest target.
    """

    __slots__ = ("dice", "events", "now_s", "printer", "rings", "target_c")

    def __init__(self, dice: Random, printer: PrinterFacts) -> None:
        self.dice, self.printer = dice, printer
        self.rings = chance(dice, 0.1)
        self.now_s = dice.uniform(20.0, 300.0)
        self.events: list[Event] = []
        self.target_c = dict.fromkeys(printer.heaters, 0.0)

    def wait(self, least_s: float, most_s: float) -> None:
        """Let some time pass."""
        self.now_s += self.dice.uniform(least_s, most_s)

    def tell(self, *events: Event) -> None:
        """What happens besides."""
        self.events += events

    def ask(self, heater: str, target_c: float) -> None:
        """Set a target now, rounded to whole degrees and no hotter than the heater is ever used."""
        target_c = float(round(min(target_c, self.hottest_c(heater))))
        self.target_c[heater] = target_c
        self.tell(Asked(self.now_s, heater, target_c))

    def off(self, *heaters: str) -> None:
        """Set targets to 0, of all heaters when none is named."""
        for heater in heaters or tuple(self.target_c):
            self.ask(heater, 0.0)

    def hottest_c(self, heater: str) -> float:
        """The hottest target of a heater, in degrees Celsius."""
        return (RINGING if self.rings else 1.0) * self.printer.heaters[heater].normal_max_c

    def usual_c(self, heater: str, share: float = 1.0, least: float = 0.0) -> float:
        """A target as prints have it, between the shares `least` and `share` of the hottest ever used, and never very low."""
        hottest_c = self.hottest_c(heater)
        low_c = min(max(LOW_C[self.printer.heaters[heater].kind], least * hottest_c), hottest_c)
        return float(round(self.dice.uniform(low_c, max(low_c, share * hottest_c))))

    def heats_s(self, heater: str, target_c: float) -> float:
        """How long it may need from the cold, in seconds."""
        return heat_up_s(self.printer, heater, ROOM_C, min(target_c, self.printer.heaters[heater].normal_max_c))

    def heat(self, targets_c: dict[str, float]) -> None:
        """Heat up and wait until all have long arrived: one after the other, or all at once."""
        together = chance(self.dice, 0.4)
        began_s, done_s = self.now_s, self.now_s
        for heater, target_c in targets_c.items():
            self.ask(heater, target_c)
            done_s = max(done_s, self.now_s + self.heats_s(heater, target_c))
            if not together:
                self.now_s = done_s - self.dice.uniform(0.0, 60.0)
        self.now_s = max(began_s, done_s)

    def dark(self, least_s: float, most_s: float) -> None:
        """The owner switches the printer off at its main switch, and on again some time later."""
        self.tell(MainSwitch(self.now_s, on=False))
        self.wait(least_s, most_s)
        self.tell(MainSwitch(self.now_s, on=True))
        self.target_c = dict.fromkeys(self.target_c, 0.0)
        self.wait(5.0, 60.0)

    def dark_spans_s(self) -> list[tuple[float, float]]:
        """When the main switch is off: (from, until) in seconds."""
        switched = [event for event in self.events if isinstance(event, MainSwitch)]
        ends_s = (*(event.at_s for event in switched[1:]), float("inf"))
        return [(event.at_s, end_s) for event, end_s in zip(switched, ends_s, strict=False) if not event.on]

    def some(self, pieces: tuple[Callable[["Night"], None], ...], until_s: float, apart_s: tuple[float, float]) -> None:
        """Pieces by chance, one after the other, until `until_s`."""
        while self.now_s < until_s:
            self.dice.choice(pieces)(self)
            self.wait(*apart_s)


def wire_troubles(night: Night, until_s: float) -> None:
    """Over the whole time, a link that drops for seconds and single wild samples; a quarter of all have neither."""
    dice = night.dice
    if chance(dice, 0.25):
        return
    apart_s = dice.choice((300.0, 900.0, 3600.0))
    at_s = dice.uniform(30.0, apart_s)
    while at_s < until_s:
        names = () if chance(dice, 0.7) else (dice.choice(tuple(night.target_c)),)
        night.tell(LinkDown(at_s, dice.uniform(*SHORT_GAP_S), names, keeps=chance(dice, 0.5)))
        at_s += dice.uniform(0.3, 1.7) * apart_s
    quiet = night.dark_spans_s() + [(event.at_s - SHORT_GAP_S[1], event.at_s) for event in night.events if isinstance(event, LinkDown)]
    at_s = dice.uniform(30.0, apart_s)
    while at_s < until_s:
        # a board that is dark would save them up, and a link that drops leaves them standing
        if not any(from_s <= at_s < to_s for from_s, to_s in quiet):
            night.tell(Glitch(at_s, dice.choice(tuple(night.target_c)), (dice.choice(GLITCHES_C),)))
        at_s += GLITCHES_APART_S + dice.expovariate(1.0 / apart_s)
