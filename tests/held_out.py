"""How the checks fare on simulated plants: `python tests/held_out.py SEEDS [FAMILY...]` runs each family with so many seeds.

Every case goes through the real engine as it would live, deadlines included. Prints each miss, then one line a family.
`FROM-TO` instead of SEEDS names the seeds; odd ones are rough: facts up to 20 % wrong, and other telemetry than the case was drawn with.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from random import Random
from typing import Any, NamedTuple

from watchdog.core.engine import Engine
from watchdog.core.inputs import Tick
from watchdog.core.outputs import Event
from watchdog.core.plan import SitePlan
from watchdog.settings.assemble import site_plan
from watchdog.settings.feeds import Readings
from watchdog.settings.model import Heater, MainFile, PrinterFile, Settings
from watchdog.settings.safety import safety
from watchdog.simulation.case import Case, outcome
from watchdog.simulation.chance import dice as dice_of
from watchdog.simulation.families import FAMILIES, case
from watchdog.simulation.running import run

PROCESSES = 2


SHOWS_FROM, COARSE_K, SHOWS_COARSE_FROM = 0.6, 0.2, 1.0
"""From so many steps on, noise shows that a reading still lives; of a coarse sensor, whose controller hunts, from more."""

METER_SEES_W = 54.0
"""A heater below this looks like fans and lights to the meter of a whole printer."""


class Result(NamedTuple):
    """What came of a case. `share` is the part of the time budget that was used; `hours` were healthy, up to a fault or the end.

    A fault found too late is told so before where its settings are called unable to protect: its source is too slow for such a heater.
    """

    family: str
    seed: int
    verdict: str
    check: str
    share: float
    hours: float
    sentence: str


def roughened(one: Case) -> Case:
    """The same case as another owner's printer would tell it: steps, noise, period, duty, glitches and gaps of their own."""
    dice = dice_of(one.seed, "rough going")
    telemetry = one.scenario.telemetry
    spec: dict[str, Any] = {"jitter_s": dice.choice((0.0, 0.05, 0.2))}
    if telemetry.on_change_k is None:
        spec["period_s"] = dice.choice((0.5, 1.0, 2.0, 3.0, 5.0))
    if dice.random() < 0.5:
        spec["reports_duty"] = telemetry.reports_target and dice.random() < 0.5
    if one.expect == "quiet":
        spec |= {"glitches": dice.choice((0.0, 0.0, 0.001)), "duplicates": dice.choice((0.0, 0.05)), "nulls": dice.choice((0.0, 0.01))}
    setup = {}
    for name, own in one.scenario.setup.items():
        coarse: dict[str, Any] = {"resolution_k": dice.choice((0.01, 0.1, 0.25, 0.5, 1.0)), "noise_k": dice.choice((0.02, 0.1, 0.3, 0.5))}
        setup[name] = replace(own, sensors={sensor: replace(entry, **coarse) for sensor, entry in own.sensors.items()})
    return replace(one, scenario=replace(one.scenario, telemetry=replace(telemetry, **spec), setup=setup))


def misjudged(told: dict[str, Any], dice: Random) -> dict[str, Any]:
    """Facts as an owner has them: each up to 20 % wrong."""
    guessed = ("rated_w", "width_mm", "depth_mm", "plate_mm", "face_mm", "block_g")
    return told | {key: told[key] * dice.uniform(0.8, 1.2) for key in guessed if told.get(key)}


def hidden(one: Case) -> bool:
    """True where nothing that is heard tells the fault from health, so that nobody can be asked to see it.

    At a held target, a value that is repeated looks like a quiet sensor with coarse steps; and a small heater with a sensor that
    fell out looks like fans and lights to the only thing that sees it, a meter of the whole printer.
    """
    if one.expect != "trip":
        return False
    own = one.scenario.setup[one.heater].sensors[""]
    if one.family in ("frozen_holding", "bridge_frozen_holding"):
        return own.noise_k < (SHOWS_COARSE_FROM if own.resolution_k > COARSE_K else SHOWS_FROM) * own.resolution_k
    return one.family == "closed_unseen" and one.scenario.printer.heaters[one.heater].rated_w < METER_SEES_W


def heaters_of(one: Case, *, rough: bool = False) -> dict[str, Heater]:
    """The settings its owner would write: facts, and how the source reports."""
    dice = dice_of(one.seed, "misjudged")
    telemetry = one.scenario.telemetry
    heaters = {}
    for name, facts in one.scenario.printer.heaters.items():
        sensors = {
            sensor: Readings(broker="log", topic=f"log/{name}/{sensor}", longest_interval_s=telemetry.longest_interval_s)
            for sensor in one.scenario.setup[name].sensors
            if sensor
        }
        readings = Readings(
            broker="log",
            topic=f"log/{name}",
            longest_interval_s=telemetry.longest_interval_s,
            reports="on change" if telemetry.on_change_k is not None else "periodically",
        )
        told: dict[str, Any] = misjudged(facts.told(), dice) if rough else facts.told()
        heaters[name] = Heater(readings=readings, sensors=sensors, **told)
    return heaters


def plan_of(one: Case, *, rough: bool = False) -> SitePlan:
    """All that is guarded: its printer, without relays."""
    printer, heaters = one.scenario.printer.name, heaters_of(one, rough=rough)
    return site_plan(Settings(MainFile(site="held-out"), {printer: PrinterFile(relays=(), heaters=heaters)}))


def judge(job: tuple[str, int]) -> Result:
    """Run one case to its first trip."""
    one, rough = case(*job), job[1] % 2 == 1
    one = roughened(one) if rough else one
    one = replace(one, expect="either") if hidden(one) else one
    engine = Engine(plan_of(one, rough=rough), 0.0)
    trip: Event | None = None
    for moment in run(one.scenario, one.seed, one.until_s):
        for item in (*moment.messages, Tick(moment.at_s)):
            trip = trip or next((out for out in engine.feed(item) if isinstance(out, Event) and out.kind == "trip"), None)
        if trip is not None:
            break
    hours = (one.onset_s if one.expect == "trip" else one.until_s) / 3600.0
    if one.expect != "trip":
        verdict = "either" if one.expect == "either" else "quiet" if trip is None else "FALSE TRIP"
        return Result(*job, verdict, trip.check if trip else "", 0.0, hours, trip.sentence if trip else "")
    found = safety(heaters_of(one, rough=rough)[one.heater])
    as_told = ", AND TOLD SO BEFORE" if found is not None and not found.in_time else ""
    if trip is None:
        return Result(*job, f"MISSED{as_told}", "", 0.0, hours, "")
    share = (trip.at - one.onset_s) / (outcome(one).deadline_s - one.onset_s)
    verdict = "FALSE TRIP" if share < 0.0 else "caught" if share <= 1.0 else f"LATE{as_told}"
    return Result(*job, verdict, trip.check, share, hours, trip.sentence)


def main() -> None:
    first, _, last = sys.argv[1].rpartition("-")
    seeds, names = range(int(first or 0), int(last)), sys.argv[2:] or list(FAMILIES)
    with ProcessPoolExecutor(PROCESSES) as pool:
        results = list(pool.map(judge, [(name, seed) for name in names for seed in seeds], chunksize=4))
    lines = [
        f"{result.family} {result.seed}: {result.verdict} {result.check} {result.share:.0%} {result.sentence}"
        for result in results
        if result.verdict.isupper()
    ]
    for name in names:
        mine = [result for result in results if result.family == name]
        checks = Counter(result.check for result in mine if result.check)
        lines.append(f"{name:28} {dict(Counter(result.verdict for result in mine))} {dict(checks)}")
    total = Counter(result.verdict for result in results)
    healthy_h = sum(result.hours for result in results if result.verdict != "either")
    lines.append(f"{dict(total)} in {healthy_h:.0f} healthy printer-hours")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
