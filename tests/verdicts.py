"""What the engine says of simulated cases, to the last bit: `python tests/verdicts.py SEED...`, one line a case.

Run with the plain and with the compiled core, the lines must be the same. The first line tells which of them it was.
"""

import hashlib
import sys

from held_out import plan_of, roughened

from watchdog.core import engine
from watchdog.core.inputs import Tick
from watchdog.simulation.families import FAMILIES, case
from watchdog.simulation.running import run

UNTIL_S = 1500.0


def digest(family: str, seed: int) -> str:
    """Every output of one case with all its numbers, how near each check came, and the memory at the end, as one hash."""
    one = roughened(case(family, seed))
    watch = engine.Engine(plan_of(one, rough=True), 0.0)
    found = hashlib.sha256()
    for moment in run(one.scenario, seed, min(one.until_s, UNTIL_S)):
        for item in (*moment.messages, Tick(moment.at_s)):
            for output in watch.feed(item):
                found.update(repr(output).encode())
    found.update(repr((watch.snapshot(), watch.take_headroom())).encode())
    return found.hexdigest()


def main() -> None:
    sys.stdout.write(f"{engine.__file__}\n")
    for seed in map(int, sys.argv[1:]):
        for family in FAMILIES:
            sys.stdout.write(f"{family} {seed} {digest(family, seed)}\n")


if __name__ == "__main__":
    main()
