"""How long a trip stands on the mark alone: from its OFF command carried out to the return of its latch's fsync.

    python tests/benchmarks/latch_window.py [--trips 200] [--folder DIR]

A killed guard comes back latched within that window too; a host that loses power does not. Real hands, keeper, latch store and
marks on the disk of DIR (the current folder by default), the recorder writing beside them. Prints, asserts nothing.
"""

import argparse
import logging
import queue
import statistics
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import orjson

from watchdog.core.latch import Latch
from watchdog.core.outputs import Event, LatchChange, Mark, RelayOrder
from watchdog.guard import clock
from watchdog.guard.hands import Hands
from watchdog.guard.journal import Journal
from watchdog.guard.keeper import Keeper
from watchdog.latch.mark import MarkFile
from watchdog.latch.port import OsFilePort
from watchdog.latch.store import LatchStore, room_for
from watchdog.recorder.writer import Recorder

PRINTERS = ("anvil", "bramble", "cinder")
REASON = "bed reads 180.0 degC, above its ceiling of 115.0 degC for 0.0 s"
ADDRESS = {"kind": "mqtt", "broker": {"host": "127.0.0.1", "port": 1883}, "order": {"topic": "anvil/plug/order", "off": "off"}}


def measure(folder: Path, trips: int) -> list[float]:
    """Microseconds for each trip. Every other change is a release, which is stored before the next trip."""
    stored: queue.SimpleQueue[int] = queue.SimpleQueue()
    latch = Latch("anvil", "run/1", "bed", "ceiling", REASON, ("anvil-plug",), addresses={"anvil-plug": ADDRESS})
    store = LatchStore(OsFilePort(folder), PRINTERS, room_for(dict.fromkeys(PRINTERS, latch), PRINTERS))
    keeper = Keeper(store, {}, lambda *_: stored.put(time.monotonic_ns()))
    recorder = Recorder(folder / "record.sqlite", clock.now, clock.wall_us)
    recorder.start()
    ordered = [0]

    def off(_order: int) -> None:
        ordered[0] = time.monotonic_ns()

    drivers: dict[str, Any] = {"anvil-plug": SimpleNamespace(off=off)}  # the network is not what is measured here
    hands = Hands(
        MarkFile(folder / "marks", PRINTERS),
        drivers,
        keeper,
        Journal("run", recorder, clock.wall_us),
        now=clock.now,
        wall_text=clock.wall_text,
        report=lambda _: None,
        point=lambda _: None,
    )
    keeper.start()
    windows = []
    for _ in range(trips):
        event = Event(clock.now(), "trip", "alarm", REASON, printer="anvil", heater="bed", check="ceiling", trip="run/1")
        hands.carry_out([Mark("anvil"), RelayOrder("anvil-plug", 1, "anvil"), LatchChange("anvil", latch), event])
        windows.append((stored.get() - ordered[0]) / 1000)
        hands.carry_out([LatchChange("anvil", None)])
        stored.get()
    keeper.stop(5.0)
    recorder.close(5.0)
    return windows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trips", type=int, default=200)
    parser.add_argument("--folder", type=Path, default=Path.cwd())
    options = parser.parse_args()
    logging.getLogger("heatwarden").setLevel(logging.CRITICAL + 1)
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        windows = sorted(measure(Path(folder), options.trips))
    median, p99 = statistics.median(windows), windows[int(len(windows) * 0.99)]
    found = {"trips": options.trips, "median_us": round(median), "p99_us": round(p99), "longest_us": round(windows[-1])}
    sys.stdout.write(orjson.dumps(found).decode() + "\n")
    sys.stdout.write(f"OFF carried out to latch on disk: median {median / 1000:.2f} ms, p99 {p99 / 1000:.2f} ms\n")


if __name__ == "__main__":
    main()
