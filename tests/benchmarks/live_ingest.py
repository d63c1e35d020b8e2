"""Readings through the whole guard, beside a bare paho callback, on one broker in one go.

    python tests/benchmarks/live_ingest.py [--messages 40000] [--rounds 3] [--protocol 5|3.1.1] [--printers 500] [--rate 0]

The guard is the real process: source, inbox, loop, engine with all its checks. Both sides hear the same messages at QoS 0, in
turns, sent by a third process as fast as the broker takes them and over so many heaters that none is in a burst; or, with
`--rate`, at so many a second, in groups of 20. Reported are CPU microseconds a message of each process, which a busy machine
does not blur, and messages a second by the wall. Prints, and asserts only that nothing was lost.
"""

import argparse
import multiprocessing
import statistics
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import orjson
from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1]))

from rig.broker import MosquittoBroker
from rig.guard import Guard, write_settings
from rig.measuring import STOCK, Flood, Spent, packet, spent_on

HEATERS = ("bed", "hotend", "chamber")
WARM_UP = 3000
GROUP = 20


def listen(port: int, protocol: str, topics: list[str], line: Any) -> None:
    """The least a listener can do: count. Answers with its count when asked."""
    heard = [0]

    def on_message(_client: Client, _data: Any, _message: Any) -> None:
        heard[0] += 1

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5 if protocol == "5" else MQTTv311)
    ready = threading.Semaphore(0)
    client.on_subscribe = lambda *_: ready.release()
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    parts = [topics[first : first + 64] for first in range(0, len(topics), 64)]
    for part in parts:
        client.subscribe([(topic, 0) for topic in part])
    for _ in parts:
        ready.acquire()
    with suppress(EOFError):  # until nobody asks any more
        while True:
            line.send(heard[0])
            line.recv()


class Bare:
    """The bare side, in a process of its own."""

    def __init__(self, port: int, protocol: str, topics: list[str]) -> None:
        context = multiprocessing.get_context("spawn")
        self._line, theirs = context.Pipe()
        self._process = context.Process(target=listen, args=(port, protocol, topics, theirs), daemon=True)
        self._process.start()
        self._line.recv()

    @property
    def pid(self) -> int:
        assert self._process.pid is not None
        return self._process.pid

    def count(self) -> int:
        self._line.send(0)
        return int(self._line.recv())


def payload(number: int) -> bytes:
    temperature_c = 60.0 + number % 9 / 10
    return b'{"temperature_c": %.1f, "target_c": 60, "duty": 0.4, "power_w": 310}' % temperature_c


def packets(prefix: str, printers: list[str], count: int) -> list[bytes]:
    topics = [f"{prefix}/{printer}/{heater}" for heater in HEATERS for printer in printers]
    return [packet(topics[number % len(topics)], payload(number)) for number in range(count)]


class Side(NamedTuple):
    """One of the two: its process, and how many messages it has taken in so far."""

    pid: int
    heard: Callable[[], int]


def flood(sender: Flood, messages: list[bytes], side: Side, rate: float) -> Spent:
    wanted = side.heard() + len(messages)
    sender.send(messages, batch=GROUP, every_s=GROUP / rate if rate else 0.0)
    return spent_on(sender, side.pid, lambda: side.heard() == wanted)


def judged(guard: Guard) -> int:
    status = guard.status()
    assert status["guard"]["dropped_readings"] == 0, "readings were dropped"
    assert all(heater["ignored"] == 0 for printer in status["printers"] for heater in printer["heaters"]), "readings were no news"
    return int(status["guard"]["judged_readings"])


def run(options: argparse.Namespace, folder: Path, port: int) -> dict[str, list[Spent]]:
    printers = [f"printer-{number}" for number in range(options.printers)]
    write_settings(folder / "config", port, printers, heaters=HEATERS, longest_interval_s=40.0, prefix="guard/", protocol=options.protocol)
    sender = Flood(port)
    spent: dict[str, list[Spent]] = {"bare": [], "guard": []}
    bare = Bare(port, options.protocol, [f"bare/{printer}/{heater}" for printer in printers for heater in HEATERS])
    with Guard(folder / "config", folder / "state") as guard:
        guard.wait_armed(60.0)
        assert guard.process is not None
        sides = {"bare": Side(bare.pid, bare.count), "guard": Side(guard.process.pid, lambda: judged(guard))}
        for name, side in sides.items():
            flood(sender, packets(name, printers, WARM_UP), side, options.rate or 10_000.0)
        for _ in range(options.rounds):
            for name, side in sides.items():
                spent[name].append(flood(sender, packets(name, printers, options.messages), side, options.rate))
        assert "burst" not in guard.log(), "some heater was in a burst"
    sender.end()
    return spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=40_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--printers", type=int, default=500)
    parser.add_argument("--protocol", choices=["5", "3.1.1"], default="5")
    parser.add_argument("--rate", type=float, default=0.0, help="messages a second; 0: as fast as the broker takes them")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker:
        spent = run(options, Path(place), broker.port)
    cpu = {side: statistics.median(one.cpu_s for one in rounds) / options.messages * 1e6 for side, rounds in spent.items()}
    rate = {side: options.messages / statistics.median(one.wall_s for one in rounds) for side, rounds in spent.items()}
    found = {
        "messages": options.messages * options.rounds,
        "printers": options.printers,
        "protocol": options.protocol,
        "rate": options.rate,
        "cpu_us": {side: round(value, 2) for side, value in cpu.items()},
        "messages_per_s": {side: round(value) for side, value in rate.items()},
        "cpu_ratio": round(cpu["bare"] / cpu["guard"], 3),
        "wall_ratio": round(rate["guard"] / rate["bare"], 3),
    }
    sys.stdout.write(orjson.dumps(found).decode() + "\n")
    sys.stdout.write(f"whole guard at {found['cpu_ratio']} of a bare paho callback by CPU time, {found['wall_ratio']} by the wall\n")


if __name__ == "__main__":
    main()
