"""What a flood on the guard's second socket does to its trips: from a hot reading on MQTT to the OFF received by the plug.

    python tests/benchmarks/front_flood.py [--trials 200] [--kinds readings,refused,small,garbage,connects]

As trip_latency.py, whose parts it uses. Another process with 32 clients floods the socket in every other round of trials, so that
quiet and flooded rounds alternate in one run. Each kind sends the worst of its sort: whole requests of readings that are judged or
refused, requests as small as they can be, lines of garbage as long as they may be, connections that come and go. Prints, asserts nothing.
"""

import argparse
import multiprocessing
import os
import random
import socket
import sys
import tempfile
import threading
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import orjson

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.trip_latency import PAUSE_S, TRIPPED, Sides, plugs
from rig.broker import MosquittoBroker, wait_for
from rig.front_client import FrontClient, new_token
from rig.guard import Guard, write_settings
from rig.measuring import STOCK, figures

CLIENTS = 32
PUSHED = """relays = ["cinder-plug"]
[heaters.bed]
kind = "bed"
readings = {pushed = true, longest_interval_s = 40.0}
"""


def lines(kind: str, token: str) -> bytes:
    """One request of this kind."""
    if kind == "small":
        return b'{"ask":"readiness"}\n'
    if kind == "garbage":
        return b'{"ask":"verify",' + b'"a":1,' * 43000 + b'"b":1}\n'
    printer = "cinder" if kind == "readings" else "nobody"
    items = [{"printer": printer, "heater": "bed", "temperature_c": 24.0 + place % 3, "target_c": 0} for place in range(500)]
    return orjson.dumps({"ask": "readings", "token": token, "readings": items}) + b"\n"


def flood(path: str, token: str, line: Connection) -> None:
    """Floods with `kind` from the word "kind" until the word ""; then tells how many requests were answered."""
    os.nice(5)
    while True:
        kind = line.recv()
        stop, counts = threading.Event(), [0] * CLIENTS
        threads = [threading.Thread(target=pour, args=(path, kind, lines(kind, token), stop, counts, number)) for number in range(CLIENTS)]
        for thread in threads:
            thread.start()
        assert line.recv() == ""
        stop.set()
        for thread in threads:
            thread.join()
        line.send(sum(counts))


def pour(path: str, kind: str, request: bytes, stop: threading.Event, counts: list[int], number: int) -> None:
    while not stop.is_set():
        try:
            if kind == "connects":
                with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as comer:
                    comer.connect(path)
                    counts[number] += 1
                continue
            with FrontClient(Path(path)) as client:
                while not stop.is_set():
                    client.raw(request)
                    counts[number] += 1
        except (OSError, ValueError):
            continue


def trips(sides: Sides, dice: random.Random) -> list[float]:
    """Microseconds that each printer took."""
    found = []
    for printer in TRIPPED:
        time.sleep(dice.uniform(*PAUSE_S))  # noqa: TID251 - between trials
        sides.tend()
        found.append(sides.trial(f"{printer}/bed", f"{printer}/plug/order"))
    sides.reset(TRIPPED)
    return found


def of_kind(kind: str, sides: Sides, flooding: Any, trials: int) -> dict[str, Any]:
    found: dict[str, list[float]] = {"quiet": [], "flooded": []}
    answered, seconds, dice = 0, 0.0, random.Random(kind)
    while len(found["flooded"]) < trials:
        found["quiet"] += trips(sides, dice)
        flooding.send(kind)
        time.sleep(0.3)  # noqa: TID251 - until it is under way
        began_ns = time.monotonic_ns()
        found["flooded"] += trips(sides, dice)
        seconds += (time.monotonic_ns() - began_ns) / 1e9
        flooding.send("")
        answered += flooding.recv()
    shown: dict[str, Any] = {"kind": kind, "answered_per_s": round(answered / seconds)}
    shown |= {f"{name}_us": figures(values) for name, values in found.items()}
    for figure in ("median", "p99"):
        shown[f"{figure}_ratio"] = round(shown["flooded_us"][figure] / shown["quiet_us"][figure], 2)
    return shown


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--kinds", default="readings,refused,small,garbage,connects")
    options = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker:
        folder = Path(place)
        write_settings(folder / "config", broker.port, [*TRIPPED, "cinder"], longest_interval_s=40.0)
        (folder / "config" / "printers" / "cinder.toml").write_text(PUSHED)
        heard, theirs = context.Pipe(duplex=False)
        context.Process(target=plugs, args=(broker.port, theirs), daemon=True).start()
        heard.recv()
        with Guard(folder / "config", folder / "state") as guard:
            guard.wait_armed(60.0)
            token = new_token(guard.state, "flood", "report")
            path = guard.state / "front.sock"
            assert wait_for(path.is_socket)
            ours, flooding = context.Pipe()
            context.Process(target=flood, args=(str(path), token, flooding), daemon=True).start()
            sides = Sides(broker.port, heard, guard)
            found = [of_kind(kind, sides, ours, options.trials) for kind in options.kinds.split(",")]
    for one in found:
        sys.stdout.write(orjson.dumps(one).decode() + "\n")


if __name__ == "__main__":
    main()
