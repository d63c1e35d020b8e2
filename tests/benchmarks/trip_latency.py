"""From the publish of the first reading that trips to the OFF received by the plug, beside a bare echo of two paho clients.

    python tests/benchmarks/trip_latency.py [--trials 1000] [--rates 10,100,1000,3000] [--direct]

Five processes: a stock mosquitto, the real guard with its recorder on, the plugs, a background publisher at each rate, and this
one, which publishes and measures. The bare echo is a sixth: one paho client hears, a second one with NODELAY publishes, each with
its own network thread; with `--direct` the hearing thread writes to the socket itself, the fastest that paho can do. It hears
the background too. All receivers here acknowledge at once (TCP_QUICKACK), so that Nagle's algorithm in the stock broker holds up
nothing but what it would hold up for the guard. Trials of both sides alternate. Each guard trial trips another printer; after a
round all of them are reset over the control socket. Prints, asserts nothing.
"""

import argparse
import multiprocessing
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
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1]))

from rig.broker import MosquittoBroker, wait_for
from rig.guard import Guard, write_settings
from rig.measuring import STOCK, Flood, figures, packet

TRIPPED = [f"anvil-{number}" for number in range(50)]
QUIET = [f"bramble-{number}" for number in range(50)]
HEATERS = ("bed", "hotend", "chamber")
COLD = b'{"temperature_c": 24.0, "target_c": 0}'
HOT = b'{"temperature_c": 180.0, "target_c": 60}'
BACKGROUND = [f"{printer}/{heater}" for printer in QUIET for heater in HEATERS]
ECHO = "echo/out"
PAUSE_S = (0.008, 0.016)


def hurry(_client: Client, _data: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def client() -> Client:
    made = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    made.on_socket_open = hurry
    return made


def at_once(listener: Client) -> None:
    """The TCP acknowledgement of what was just received leaves now."""
    sock: Any = listener.socket()  # paho's type for it knows too little
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)


def connected(port: int, topics: list[str], on_message: Any = None) -> Client:
    """A client with its own thread that has all of its subscriptions."""
    made = client()
    ready = threading.Semaphore(0)
    made.on_subscribe = lambda *_: ready.release()
    made.on_message = on_message
    made.connect("127.0.0.1", port)
    made.loop_start()
    parts = [topics[first : first + 64] for first in range(0, len(topics), 64)]
    for part in parts:
        made.subscribe([(topic, 1 if "plug" in topic or topic == ECHO else 0) for topic in part])
    for _ in parts:
        ready.acquire()
    assert wait_for(made.is_connected)
    return made


def plugs(port: int, line: Connection) -> None:
    """All plugs in one process: tells when each command came, and echoes it."""

    voice = connected(port, [])

    def obey(listener: Client, _data: Any, message: MQTTMessage) -> None:
        at_ns = time.monotonic_ns()
        at_once(listener)
        line.send((at_ns, message.topic))
        if message.topic != ECHO:
            voice.publish(message.topic.replace("order", "echo"), "off", qos=1)

    connected(port, [*(f"{printer}/plug/order" for printer in TRIPPED), ECHO], obey)
    line.send((0, "ready"))
    threading.Event().wait()


def bare_echo(port: int, line: Connection, *, direct: bool) -> None:
    """Hears `echo/in` and the background, answers the first with a command. Nothing is decoded, nothing judged."""
    voice = connected(port, [])
    if direct:
        voice.loop_stop()  # without a thread of its own publish() writes at once
        threading.Thread(target=_serve, args=(voice,), daemon=True).start()

    def answer(listener: Client, _data: Any, message: MQTTMessage) -> None:
        if message.topic == "echo/in":
            voice.publish(ECHO, "off", qos=1)
        at_once(listener)

    connected(port, ["echo/in", *BACKGROUND], answer)
    line.send((0, "ready"))
    threading.Event().wait()


def _serve(voice: Client) -> None:
    """Reads acknowledgements every now and then, far from any trial's answer."""
    while True:
        time.sleep(0.005)  # noqa: TID251 - a process of its own
        voice.loop(0.0)


class Sides:
    """Publishes, and reads what the plugs heard."""

    def __init__(self, port: int, heard: Connection, guard: Guard) -> None:
        self._voice = client()
        self._voice.connect("127.0.0.1", port)
        self._voice.loop(0.5)
        self._heard, self._guard = heard, guard

    def say(self, topic: str, payload: bytes) -> None:
        self._voice.publish(topic, payload)

    def tend(self) -> None:
        self._voice.loop(0.0)

    def trial(self, topic: str, awaited: str) -> float:
        """Microseconds from this publish to the arrival at the plug."""
        while self._heard.poll():
            self._heard.recv()
        began_ns = time.monotonic_ns()
        self.say(topic, HOT)
        while self._heard.poll(5.0):
            at_ns, found = self._heard.recv()
            if found == awaited and at_ns >= began_ns:
                return float(at_ns - began_ns) / 1000
        raise SystemExit(f"no command on {awaited} within 5 s:\n{self._guard.log()[-2000:]}")

    def reset(self, printers: list[str]) -> None:
        for printer in printers:
            self.say(f"{printer}/bed", COLD)
        for printer in printers:
            if not wait_for(lambda name=printer: self._guard.reset(name)["ok"]):
                raise SystemExit(f"{printer} was not reset: {self._guard.reset(printer)}")


def rounds(sides: Sides, trials: int, dice: random.Random) -> dict[str, list[float]]:
    """Trials of both sides in turns, at random moments, the next one long after the record of the last is written."""
    found: dict[str, list[float]] = {"bare": [], "guard": []}
    while len(found["guard"]) < trials:
        tripped = TRIPPED[: trials - len(found["guard"])]
        for printer in tripped:
            for side, topic, awaited in (("bare", "echo/in", ECHO), ("guard", f"{printer}/bed", f"{printer}/plug/order")):
                time.sleep(dice.uniform(*PAUSE_S))  # noqa: TID251 - between trials
                sides.tend()
                found[side].append(sides.trial(topic, awaited))
        sides.reset(tripped)
    return found


def at_rate(port: int, rate: int, sides: Sides, trials: int) -> dict[str, Any]:
    background = Flood(port)
    seconds = trials * (2 * sum(PAUSE_S) / 2 + 0.03) * 2 + 10
    messages = [packet(BACKGROUND[number % len(BACKGROUND)], COLD) for number in range(int(rate * seconds))]
    batch = max(1, rate // 1000)
    background.send(messages, batch=batch, every_s=batch / rate)
    time.sleep(1.0)  # noqa: TID251 - until it is under way
    found = rounds(sides, trials, random.Random(rate))
    if background.done():
        sys.stderr.write(f"the background of {rate} messages a second ended too early\n")
    background.end()
    shown: dict[str, Any] = {"rate": rate} | {f"{side}_us": figures(values) for side, values in found.items()}
    for figure in ("median", "p99"):
        shown[f"{figure}_ratio"] = round(shown["guard_us"][figure] / shown["bare_us"][figure], 2)
    return shown


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1000)
    parser.add_argument("--rates", default="10,100,1000,3000")
    parser.add_argument("--direct", action="store_true", help="the bare echo writes to the socket in its hearing thread")
    options = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker:
        folder = Path(place)
        write_settings(folder / "config", broker.port, TRIPPED + QUIET, heaters=HEATERS, longest_interval_s=40.0)
        for printer in TRIPPED:
            file = folder / "config" / "printers" / f"{printer}.toml"
            file.write_text(file.read_text().partition("[heaters.hotend]")[0])
        heard, theirs = context.Pipe(duplex=False)
        ready, echoing = context.Pipe(duplex=False)
        helpers = [
            context.Process(target=plugs, args=(broker.port, theirs), daemon=True),
            context.Process(target=bare_echo, args=(broker.port, echoing), kwargs={"direct": options.direct}, daemon=True),
        ]
        for helper in helpers:
            helper.start()
        heard.recv(), ready.recv()
        with Guard(folder / "config", folder / "state") as guard:
            guard.wait_armed(60.0)
            sides = Sides(broker.port, heard, guard)
            rounds(sides, 20, random.Random(0))
            found = [at_rate(broker.port, int(rate), sides, options.trials) for rate in options.rates.split(",")]
        for helper in helpers:
            helper.kill()
    sys.stdout.write(orjson.dumps({"trials": options.trials, "direct": options.direct, "rates": found}).decode() + "\n")
    for one in found:
        sys.stdout.write(f"{one['rate']} messages/s: median {one['median_ratio']} times, p99 {one['p99_ratio']} times the bare echo\n")


if __name__ == "__main__":
    main()
