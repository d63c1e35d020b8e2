"""How long an OFF takes from `off()` to its arrival in another process, beside a bare publish of a bare client.

Both sides take turns in one run, on one broker with its stock settings. Three callers: an idle one, one that is
busy for 2 ms after each order, as the guard's loop is in a trip, and 60 orders in a row. Prints, asserts nothing.
Run it as `python tests/benchmarks/relay_latency.py [--trials 1000]`.
"""

import argparse
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt import LOOK_S
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from rig.broker import MosquittoBroker

TOPIC = "bench/set"
PAUSE_S = 0.002
BUSY_NS = 2_000_000


def client() -> paho.Client:
    return paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)


def receive(port: int, stamps: Connection) -> None:
    """In a process of its own: one stamp for each message."""
    ears = client()
    ears.on_message = lambda *_: stamps.send(time.monotonic_ns())
    ears.on_subscribe = lambda *_: stamps.send(0)
    ears.connect("127.0.0.1", port)
    ears.subscribe(TOPIC, qos=1)
    ears.loop_forever()


def trial(send: Callable[[], object], stamps: Connection, busy_ns: int, orders: int) -> float:
    """Microseconds until the last of `orders` messages arrived."""
    began = time.monotonic_ns()
    for _ in range(orders):
        send()
    until = time.monotonic_ns() + busy_ns
    while time.monotonic_ns() < until:
        pass
    arrived = [int(stamps.recv()) for _ in range(orders)]
    return (arrived[-1] - began) / 1000


def show(name: str, sides: dict[str, list[float]]) -> None:
    figures = {}
    for side, times in sides.items():
        times.sort()
        figures[side] = (statistics.median(times), times[int(len(times) * 0.99)])
        sys.stdout.write(f"{name:22} {side:14} median {figures[side][0]:8.0f} us   p99 {figures[side][1]:8.0f} us\n")
    ours, bare = figures["driver.off"], figures["bare publish"]
    sys.stdout.write(f"{name:22} ratio          median {ours[0] / bare[0]:8.2f}      p99 {ours[1] / bare[1]:8.2f}\n")


def measure(ways: dict[str, Callable[[], object]], stamps: Connection, trials: int) -> None:
    """All three callers, the sides in turns."""
    pause = threading.Event()
    for name, busy_ns, orders, times in (
        ("idle caller", 0, 1, trials),
        ("busy caller", BUSY_NS, 1, trials),
        ("60 in a row, the last", 0, 60, max(trials // 20, 1)),
    ):
        sides: dict[str, list[float]] = {side: [] for side in ways}
        for _ in range(times):
            for side, send in ways.items():
                sides[side].append(trial(send, stamps, busy_ns, orders))
                pause.wait(PAUSE_S)
        show(name, sides)


@contextmanager
def driver_at(port: int) -> Iterator[Driver]:
    """A linked driver that no longer looks at its own command topic."""
    linked = threading.Event()

    def now() -> float:
        return time.monotonic_ns() / 1e9

    def report(heard: RelayReport) -> None:
        if heard.reachable:
            linked.set()

    address: JsonObject = {"kind": "mqtt", "broker": {"host": "127.0.0.1", "port": port}, "order": {"topic": TOPIC}}
    driver = build("bench", address, now=now, report=report, links=Links(now))
    driver.start()
    linked.wait(5)
    threading.Event().wait(LOOK_S + 1.0)
    yield driver
    driver.stop()


@contextmanager
def bare_at(port: int) -> Iterator[paho.Client]:
    bare = client()
    bare.connect("127.0.0.1", port)
    bare.loop_start()
    yield bare
    bare.disconnect()
    bare.loop_stop()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1000)
    trials = parser.parse_args().trials
    with tempfile.TemporaryDirectory() as folder, MosquittoBroker(Path(folder)) as broker:
        stamps, theirs = multiprocessing.Pipe(duplex=False)
        process = multiprocessing.get_context("spawn").Process(target=receive, args=(broker.port, theirs), daemon=True)
        process.start()
        stamps.recv()
        with driver_at(broker.port) as driver, bare_at(broker.port) as bare:
            ways: dict[str, Callable[[], object]] = {
                "driver.off": lambda: driver.off(1),
                "bare publish": lambda: bare.publish(TOPIC, "off", qos=1),
            }
            measure(ways, stamps, trials)
        process.kill()


if __name__ == "__main__":
    main()
