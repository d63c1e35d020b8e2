"""A thousand printers of three heaters, each read once a second, and a fault in every second, beside a bare paho echo.

    python tests/benchmarks/many_printers.py [--seconds 120] [--printers 1000] [--together]

A stock mosquitto carries the readings of all heaters to the real guard and to the echo at the same time, at QoS 0, evenly spread over
the second or, with `--together`, all of them at once at its beginning. At a random moment of each second one more reading comes
that is above the ceiling of a bed (which cuts on the first one), each time of another printer; guard and echo both answer it with an
OFF, and the plugs' process tells when each came. The echo is the least that could do this job: one paho client that hears
everything and looks into the payload, a second one that publishes. It keeps nothing, judges nothing and records nothing.

Prints the CPU time of both over the same seconds, the guard's memory, and the time from the publish of a fault to its OFF; asserts only
that nothing was lost and nothing else tripped.
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
from rig.measuring import STOCK, Flood, cpu_s, figures, now, packet

HEATERS = ("bed", "hotend", "chamber")
HOT = b'{"temperature_c": 180.0, "target_c": 60, "duty": 0.4, "power_w": 310}'
WARM_UP_S = 5
GROUP = 20
LATE_S = 2.0


def hurry(_client: Client, _data: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def at_once(listener: Client) -> None:
    """The TCP acknowledgement of what was just received leaves now: a stock broker waits for it."""
    sock: Any = listener.socket()
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)


def connected(port: int, topics: list[str], qos: int = 0, on_message: Any = None) -> Client:
    """A client with its own thread that has all of its subscriptions."""
    made = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    made.on_socket_open = hurry
    made.on_message = on_message
    ready = threading.Semaphore(0)
    made.on_subscribe = lambda *_: ready.release()
    made.connect("127.0.0.1", port)
    made.loop_start()
    assert wait_for(made.is_connected)
    parts = [topics[first : first + 64] for first in range(0, len(topics), 64)]
    for part in parts:
        made.subscribe([(topic, qos) for topic in part])
    for _ in parts:
        ready.acquire()
    return made


def plugs(port: int, printers: list[str], line: Connection) -> None:
    """All plugs in one process: tells when each OFF came, and answers those of the guard."""
    voice = connected(port, [])

    def obey(listener: Client, _data: Any, message: MQTTMessage) -> None:
        at_ns = time.monotonic_ns()
        at_once(listener)
        printer, _, rest = message.topic.partition("/")
        line.send((at_ns, printer, rest))
        if rest == "plug/order":
            voice.publish(f"{printer}/plug/echo", "off", qos=1)

    topics = [f"{printer}/{rest}" for printer in printers for rest in ("plug/order", "bare/order")]
    connected(port, topics, 1, obey)
    line.send((0, "ready", ""))
    threading.Event().wait()


def bare_echo(port: int, printers: list[str], line: Connection) -> None:
    """The yardstick. Answers with how many messages it heard when asked."""
    voice = connected(port, [])
    heard = [0]

    def answer(listener: Client, _data: Any, message: MQTTMessage) -> None:
        heard[0] += 1
        if b"180.0" in message.payload:
            voice.publish(f"{message.topic.partition('/')[0]}/bare/order", "off", qos=1)
        at_once(listener)

    connected(port, [f"{printer}/{heater}" for printer in printers for heater in HEATERS], 0, answer)
    while True:
        line.send(heard[0])
        line.recv()


class Helper:
    """A process with a pipe to it; returns once it has said its first word."""

    def __init__(self, function: Any, port: int, printers: list[str]) -> None:
        context = multiprocessing.get_context("spawn")
        self.line, theirs = context.Pipe()
        self._process = context.Process(target=function, args=(port, printers, theirs), daemon=True)
        self._process.start()
        self.line.recv()

    @property
    def pid(self) -> int:
        assert self._process.pid is not None
        return self._process.pid

    def ask(self) -> int:
        self.line.send(0)
        return int(self.line.recv())

    def end(self) -> None:
        self._process.kill()
        self._process.join()


def payload(number: int) -> bytes:
    return b'{"temperature_c": %.1f, "target_c": 60, "duty": 0.4, "power_w": 310}' % (60.0 + number % 9 / 10)


def stream(printers: list[str], seconds: int) -> list[bytes]:
    """Every heater once in each second."""
    topics = [f"{printer}/{heater}" for heater in HEATERS for printer in printers]
    return [packet(topic, payload(place + second * len(topics))) for second in range(seconds) for place, topic in enumerate(topics)]


def memory_mb(pid: int, key: str) -> float:
    """A line of the kernel's own account of a process: VmRSS is what it holds now, VmHWM the most it has held."""
    lines = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    return int(lines[key].split()[0]) / 1024


class Faults:
    """Makes a bed too hot at a random moment of each second, and keeps when its OFFs came."""

    def __init__(self, port: int, plug: Helper, printers: list[str]) -> None:
        self._voice = connected(port, [])
        self._plug = plug
        self._printers = printers
        self.began_ns: dict[str, int] = {}
        self.took_us: dict[str, list[float]] = {"plug/order": [], "bare/order": []}
        self._seen: set[tuple[str, str]] = set()

    def run(self, seconds: int, dice: random.Random) -> None:
        begin = now()
        for second, printer in enumerate(self._printers[:seconds]):
            self._listen(begin + second + dice.uniform(0.0, 0.95))
            self.began_ns[printer] = time.monotonic_ns()
            self._voice.publish(f"{printer}/bed", HOT)
        self._listen(now() + LATE_S)

    def _listen(self, until: float) -> None:
        while (left_s := until - now()) > 0.0:
            if not self._plug.line.poll(left_s):
                return
            at_ns, printer, side = self._plug.line.recv()
            if (printer, side) not in self._seen:  # an OFF may be repeated
                self._seen.add((printer, side))
                self.took_us[side].append((at_ns - self.began_ns[printer]) / 1000)


def run(options: argparse.Namespace, folder: Path, port: int) -> dict[str, Any]:
    printers = [f"printer-{number}" for number in range(options.printers)]
    write_settings(folder / "config", port, printers, heaters=HEATERS, longest_interval_s=5.0)
    plug, echo, sender = Helper(plugs, port, printers), Helper(bare_echo, port, printers), Flood(port)
    messages = stream(printers, WARM_UP_S + options.seconds)
    a_second = len(printers) * len(HEATERS)
    batch = a_second if options.together else GROUP
    dice = random.Random(1)
    faults = Faults(port, plug, dice.sample(printers, min(options.seconds, len(printers))))
    with Guard(folder / "config", folder / "state") as guard:
        guard.wait_armed(180.0)
        assert guard.process is not None
        pids = {"guard": guard.process.pid, "bare": echo.pid}
        sender.send(messages, batch=batch, every_s=batch / a_second)
        time.sleep(WARM_UP_S)  # noqa: TID251 - until all of it is under way
        begun_at, before = now(), {side: cpu_s(pid) for side, pid in pids.items()}
        faults.run(options.seconds, dice)
        wall_s, spent = now() - begun_at, {side: cpu_s(pid) - before[side] for side, pid in pids.items()}
        if not wait_for(sender.done, 10.0):
            raise SystemExit("the stream could not be sent in its time")
        memory = {key: round(memory_mb(guard.process.pid, key), 1) for key in ("VmRSS", "VmHWM")}
        sent = len(messages) + len(faults.began_ns)
        heard = {"guard": judged(guard, sent, faults), "bare": echo.ask()}
    for helper in (plug, echo, sender):
        helper.end()
    return report(faults, wall_s, spent) | {"memory_mb": memory, "sent": sent, "heard": heard, "together": options.together}


def judged(guard: Guard, sent: int, faults: Faults) -> int:
    """How many readings were judged; asserts that none was lost on the way and that only faults tripped."""
    wait_for(lambda: guard.status()["guard"]["judged_readings"] >= sent, 5.0)
    status = guard.status()
    tripped = {printer["name"]: printer["latch"]["check"] for printer in status["printers"] if printer["latch"]}
    assert tripped == dict.fromkeys(faults.began_ns, "ceiling"), "something else tripped, or a fault did not"
    assert status["guard"]["dropped_readings"] == 0, "readings were dropped"
    assert all(heater["ignored"] == heater["unusable"] == 0 for printer in status["printers"] for heater in printer["heaters"])
    assert status["guard"]["judged_readings"] == sent, f"{status['guard']['judged_readings']} of {sent} readings were judged"
    return int(status["guard"]["judged_readings"])


def report(faults: Faults, wall_s: float, spent: dict[str, float]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "seconds": round(wall_s, 1),
        "printers_tripped": len(faults.took_us["plug/order"]),
        "cpu_percent_of_a_core": {side: round(100 * value / wall_s, 2) for side, value in spent.items()},
        "cpu_ratio": round(spent["guard"] / spent["bare"], 3),
    }
    for side, key in (("guard", "plug/order"), ("bare", "bare/order")):
        assert len(faults.took_us[key]) == len(faults.began_ns), f"{side}: OFF for {len(faults.took_us[key])} of {len(faults.began_ns)}"
        found[f"{side}_us"] = figures(faults.took_us[key]) | {"most": round(max(faults.took_us[key]))}
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=120, help="faults, one a second, each of another printer")
    parser.add_argument("--printers", type=int, default=1000)
    parser.add_argument("--together", action="store_true", help="all readings at the beginning of each second")
    options = parser.parse_args()
    if options.seconds > options.printers:
        parser.error(f"--seconds {options.seconds} wants as many printers to trip, there are {options.printers}")
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker:
        found = run(options, Path(place), broker.port)
    sys.stdout.write(orjson.dumps(found).decode() + "\n")
    cpu, memory = found["cpu_percent_of_a_core"], found["memory_mb"]
    sys.stdout.write(
        f"guard {cpu['guard']} % of a core, bare echo {cpu['bare']} %: {found['cpu_ratio']} times; {memory['VmRSS']} MB; trips "
        f"{found['guard_us']['median']:.0f} us median, {found['guard_us']['p99']:.0f} us p99 beside {found['bare_us']['median']:.0f} and "
        f"{found['bare_us']['p99']:.0f}; {found['heard']['guard']} of {found['sent']} readings judged\n"
    )


if __name__ == "__main__":
    main()
