"""What an attack on the front does to the guard's trips: from a hot reading on MQTT to the OFF received by the plug.

    python tests/benchmarks/front_under_attack.py [--trials 1000] [--rounds 5] [--kinds stopped,killed,half open,huge body,posting]

As trip_latency.py, whose parts it uses: the real guard, a stock mosquitto, plugs in a process of their own; and a real front. Rounds of
50 trials with the front at peace and under attack alternate in one run. Killed: the front is killed at the beginning of each attacked
round and started again at its end. Prints, asserts nothing.
"""

import argparse
import multiprocessing
import random
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import orjson

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.front_flood import PUSHED, trips
from benchmarks.trip_latency import TRIPPED, Sides, plugs
from rig.attacks import ATTACKS, attacker
from rig.broker import MosquittoBroker, wait_for
from rig.front import Front
from rig.front_client import new_token
from rig.guard import Guard, write_settings
from rig.measuring import STOCK, figures

UNDER_WAY_S = 0.5


@contextmanager
def under(kind: str, front: Front, attacking: Any) -> Iterator[None]:
    """The front is attacked like this meanwhile."""
    assert front.process is not None
    if kind in ATTACKS:
        attacking.send(kind)
    else:
        front.process.send_signal(signal.SIGSTOP if kind == "stopped" else signal.SIGKILL)
    time.sleep(UNDER_WAY_S)  # noqa: TID251 - until it is under way
    yield
    if kind in ATTACKS:
        attacking.send("enough")
        attacking.recv()
    elif kind == "stopped":
        front.process.send_signal(signal.SIGCONT)
    else:
        front.process.wait(10)
        front.start()


def of_kind(kind: str, sides: Sides, front: Front, attacking: Any, trials: int, rounds: int) -> dict[str, Any]:
    found: dict[str, list[float]] = {"quiet": [], "attacked": []}
    dice = random.Random(kind)
    while len(found["attacked"]) < trials * rounds:
        found["quiet"] += trips(sides, dice)
        with under(kind, front, attacking):
            found["attacked"] += trips(sides, dice)
    shown: dict[str, Any] = {"front": kind} | {f"{name}_us": figures(values) for name, values in found.items()}
    for figure in ("median", "p99"):
        shown[f"{figure}_ratio"] = round(shown["attacked_us"][figure] / shown["quiet_us"][figure], 2)
    return shown


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--kinds", default="stopped,killed,half open,huge body,posting")
    options = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker:
        folder = Path(place)
        write_settings(folder / "config", broker.port, [*TRIPPED, "cinder"], longest_interval_s=40.0)
        (folder / "config" / "printers" / "cinder.toml").write_text(PUSHED)
        front = Front(folder / "config", folder / "state")
        heard, theirs = context.Pipe(duplex=False)
        context.Process(target=plugs, args=(broker.port, theirs), daemon=True).start()
        heard.recv()
        with Guard(folder / "config", folder / "state") as guard:
            guard.wait_armed(60.0)
            token = new_token(guard.state, "flood", "report")
            assert wait_for((guard.state / "front.sock").is_socket)
            with front:
                ours, attacking = context.Pipe()
                context.Process(target=attacker, args=(front.port, token, attacking), daemon=True).start()
                sides = Sides(broker.port, heard, guard)
                for kind in options.kinds.split(","):
                    found = of_kind(kind, sides, front, ours, options.trials, options.rounds)
                    sys.stdout.write(orjson.dumps(found).decode() + "\n")
                    sys.stdout.flush()


if __name__ == "__main__":
    main()
