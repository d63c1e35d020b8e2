"""A diary of a healthy printer: what is asked of its heaters, and the acts of people and of its surroundings.

Each act begins at `at_s` and returns how long it takes, in seconds; until then no other one begins.
"""

from dataclasses import dataclass, field
from random import Random

from watchdog.simulation.chance import chance
from watchdog.simulation.events import Draft, Event, LaidOn, OtherLoad, TakenOff
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.sensor_events import LinkDown

LOWEST_C = {"bed": 35.0, "hotend": 90.0}
MOST_SILENT_S = 20.0
STEEL_SHEET_J_PER_M2K = 3800.0


@dataclass(slots=True)
class Diary:
    """What is asked of each heater, and what else happens, in order of time."""

    dice: Random
    printer: PrinterFacts
    targets: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def ask(self, at_s: float, heater: str, target_c: float) -> None:
        """Set a target, no hotter than the heater is ever used; 0 is off."""
        self.targets.setdefault(heater, []).append((at_s, min(float(round(target_c)), self.printer.heaters[heater].normal_max_c)))

    def asked_c(self, heater: str) -> float:
        """The newest target."""
        return self.targets[heater][-1][1] if self.targets.get(heater) else 0.0

    def bed_area_m2(self) -> float:
        bed = self.printer.heaters["bed"]
        return (bed.width_mm or 0.0) * (bed.depth_mm or 0.0) / 1e6


def step(diary: Diary, at_s: float) -> float:
    """The target of one heater moves a little or a lot, and stays there."""
    heater = diary.dice.choice(("bed", "hotend"))
    by_k = diary.dice.choice((-25.0, -10.0, -5.0, -1.0, 1.0, 5.0, 10.0))
    diary.ask(at_s, heater, max(LOWEST_C[heater], diary.asked_c(heater) + by_k))
    return 300.0


def standby(diary: Diary, at_s: float) -> float:
    """A tool change: the hotend waits at a lower temperature."""
    hot_c = diary.asked_c("hotend")
    diary.ask(at_s, "hotend", max(LOWEST_C["hotend"], hot_c - diary.dice.uniform(40.0, 90.0)))
    diary.ask(at_s + 150.0, "hotend", hot_c)
    return 400.0


def pause(diary: Diary, at_s: float) -> float:
    """The idle time-out turns everything off; somebody comes back."""
    back_s = at_s + diary.dice.uniform(400.0, 1800.0)
    for heater, later_s in (("hotend", 0.0), ("bed", 200.0)):
        target_c = diary.asked_c(heater)
        diary.ask(at_s + later_s, heater, 0.0)
        diary.ask(back_s, heater, target_c)
    return back_s - at_s + 500.0


def off_and_on(diary: Diary, at_s: float) -> float:
    """A target that is off for some seconds only."""
    heater = diary.dice.choice(("bed", "hotend"))
    target_c = diary.asked_c(heater)
    diary.ask(at_s, heater, 0.0)
    diary.ask(at_s + diary.dice.uniform(3.0, 40.0), heater, target_c)
    return 300.0


def fan(diary: Diary, at_s: float) -> float:
    diary.events += [Draft(at_s, diary.dice.uniform(2.0, 5.0), "hotend"), Draft(at_s + diary.dice.uniform(60.0, 400.0), 1.0, "hotend")]
    return 500.0


def door(diary: Diary, at_s: float) -> float:
    diary.events += [Draft(at_s, diary.dice.uniform(1.3, 2.5)), Draft(at_s + diary.dice.uniform(60.0, 500.0), 1.0)]
    return 600.0


def sheet(diary: Diary, at_s: float) -> float:
    area = diary.bed_area_m2()
    share, contact = diary.dice.uniform(0.5, 1.0), diary.dice.uniform(60.0, 150.0)
    diary.events.append(LaidOn(at_s, "bed", STEEL_SHEET_J_PER_M2K * area * share, contact * area, area))
    return 700.0


def wrench(diary: Diary, at_s: float) -> float:
    cold = LaidOn(at_s, "hotend", diary.dice.uniform(20.0, 45.0), diary.dice.uniform(0.15, 0.35), 0.004)
    diary.events += [cold, TakenOff(at_s + diary.dice.uniform(40.0, 120.0), "hotend")]
    return 400.0


def drop(diary: Diary, at_s: float) -> float:
    diary.events.append(LinkDown(at_s, for_s=diary.dice.uniform(2.0, MOST_SILENT_S), keeps=chance(diary.dice, 0.3)))
    return 120.0


def lights(diary: Diary, at_s: float) -> float:
    diary.events += [OtherLoad(at_s, diary.dice.uniform(5.0, 15.0)), OtherLoad(at_s + 900.0, 0.0)]
    return 1000.0


ACTS = (step, step, standby, pause, off_and_on, fan, door, sheet, wrench, drop, drop, lights)
