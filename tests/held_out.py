"""How the checks fare on simulated plants: `python tests/held_out.py SEEDS [FAMILY...]` runs each family with so many seeds.

Every case goes through the real engine as it would live, deadlines included. Prints each miss, then one line a family.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from typing import Any, NamedTuple

from watchdog.core.engine import Engine
from watchdog.core.inputs import Tick
from watchdog.core.outputs import Event
from watchdog.core.plan import SitePlan
from watchdog.settings.assemble import site_plan
from watchdog.settings.feeds import Readings
from watchdog.settings.model import Heater, MainFile, PrinterFile, Settings
from watchdog.simulation.case import Case, outcome
from watchdog.simulation.families import FAMILIES, case
from watchdog.simulation.running import run

PROCESSES = 2


class Result(NamedTuple):
    """What came of a case. `share` is the part of the time budget that was used."""

    family: str
    seed: int
    verdict: str
    check: str
    share: float
    hours: float
    sentence: str


def plan_of(one: Case) -> SitePlan:
    """The settings its owner would write: facts, and how the source reports."""
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
        told: dict[str, Any] = facts.told()
        heaters[name] = Heater(readings=readings, sensors=sensors, **told)
    printer = one.scenario.printer.name
    return site_plan(Settings(MainFile(site="held-out"), {printer: PrinterFile(relays=(), heaters=heaters)}))


def judge(job: tuple[str, int]) -> Result:
    """Run one case to its first trip."""
    one = case(*job)
    engine = Engine(plan_of(one), 0.0)
    trip: Event | None = None
    for moment in run(one.scenario, one.seed, one.until_s):
        for item in (*moment.messages, Tick(moment.at_s)):
            trip = trip or next((out for out in engine.feed(item) if isinstance(out, Event) and out.kind == "trip"), None)
        if trip is not None:
            break
    hours = one.until_s / 3600.0
    if one.expect != "trip":
        verdict = "either" if one.expect == "either" else "quiet" if trip is None else "FALSE TRIP"
        return Result(*job, verdict, trip.check if trip else "", 0.0, hours, trip.sentence if trip else "")
    deadline_s = outcome(one).deadline_s
    if trip is None:
        return Result(*job, "MISSED", "", 0.0, hours, "")
    share = (trip.at - one.onset_s) / (deadline_s - one.onset_s)
    verdict = "EARLY" if share < 0.0 else "caught" if share <= 1.0 else "LATE"
    return Result(*job, verdict, trip.check, share, hours, trip.sentence)


def main() -> None:
    seeds, names = int(sys.argv[1]), sys.argv[2:] or list(FAMILIES)
    with ProcessPoolExecutor(PROCESSES) as pool:
        results = list(pool.map(judge, [(name, seed) for name in names for seed in range(seeds)], chunksize=4))
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
    healthy_h = sum(result.hours for result in results if result.verdict in ("quiet", "FALSE TRIP"))
    lines.append(f"{dict(total)} in {healthy_h:.0f} healthy printer-hours")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
