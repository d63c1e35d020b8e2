"""How fast a log goes through the full set of checks, beside a bare csv.reader that makes floats of the same file.

    python tests/benchmarks/replay_speed.py [--hours 6] [--rounds 5]

Writes a log of an ordinary simulated print, of a bed and a hotend with target and duty, repeated until it is long enough. Then in turns,
on one core: csv.reader with floats; the guard's parser alone; the engine alone in memory; a whole replay from the file. At the end the
cost of each check, as what the engine gains without it. Processor time, best of the rounds. Prints, asserts nothing.
"""

import argparse
import csv
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import orjson

sys.path.insert(0, str(Path(__file__).parents[1]))

from held_out import plan_of

from watchdog.checks.registry import CHECKS
from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading
from watchdog.core.plan import SitePlan
from watchdog.replay.runner import replay, without_relays
from watchdog.simulation.families import case
from watchdog.simulation.running import run
from watchdog.sources.recordings import Recording
from watchdog.wire.log_format import format_row, header_line


def log_of(hours: float) -> tuple[SitePlan, list[Reading]]:
    """A healthy print, end to end as often as it takes."""
    one = case("ordinary_print", 2)
    once = [item for moment in run(one.scenario, one.seed, one.until_s) for item in moment.messages if isinstance(item, Reading)]
    readings: list[Reading] = []
    while not readings or readings[-1].at < hours * 3600.0:
        begins = readings[-1].at + 1.0 if readings else 0.0
        readings += [reading._replace(at=round(begins + reading.at, 3)) for reading in once]
    return without_relays(plan_of(one)), readings


def bare(path: Path) -> None:
    with path.open(newline="") as lines:
        table = csv.reader(lines)
        next(table)
        for row in table:
            [float(cell) for cell in row[3:] if cell]


def judge(plan: SitePlan, readings: list[Reading], without: str = "") -> None:
    engine = Engine(plan, readings[0].at)
    for heater in engine.site.heaters.values():
        heater.arm([check for check in heater.checks if without not in (check.name, "all of them")])
    for reading in readings:
        engine.feed(reading)


def per_s(count: int, rounds: int, work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(rounds):
        began_ns = time.process_time_ns()
        work()
        best = min(best, (time.process_time_ns() - began_ns) / 1e9)
    return count / best


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=6.0)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    plan, readings = log_of(options.hours)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "print.csv"
        path.write_text(header_line() + "".join(format_row(f"{reading.at:.3f}", reading) for reading in readings))
        count, rounds = len(readings), options.rounds
        found = {
            "csv.reader with floats": per_s(count, rounds, lambda: bare(path)),
            "parser alone": per_s(count, rounds, lambda: sum(1 for _ in Recording(path).rows())),
            "engine in memory": per_s(count, rounds, lambda: judge(plan, readings)),
            "replay from the file": per_s(count, rounds, lambda: replay(plan, Recording(path))),
        }
        whole_us = 1e6 / found["engine in memory"]
        costs = {}
        for name in [*(entry.name for entry in CHECKS), "all of them"]:
            without = per_s(count, rounds, partial(judge, plan, readings, name))
            costs[name] = round(whole_us - 1e6 / without, 2)
    shown = {"readings": count, "per_s": {name: round(value) for name, value in found.items()}}
    ratio = round(found["replay from the file"] / found["csv.reader with floats"], 3)
    sys.stdout.write(orjson.dumps(shown | {"replay_over_csv": ratio, "cost_us": costs}).decode() + "\n")


if __name__ == "__main__":
    main()
