"""From exec to the first judged reading, beside a bare paho script from exec to its first message.

    python tests/benchmarks/start_up.py [--runs 15] [--first]

A publisher sends a reading above the ceiling a thousand times a second. The guard's time is that of its trip, as it stands in its
record on the clock that all processes of a host share, and beside it that of the OFF command as the plug received it. Between
runs the latch, the marks and the record are removed, and the validated copy of the settings stays, as in any start but the first;
with `--first` it goes too. The bare script as it comes waits for a delayed TCP acknowledgement of some 40 ms, which the guard avoids
on a stock broker; a second bare script that avoids it too is shown beside it. All sides run from compiled files, as installed
ones do, and take turns. Prints, asserts nothing.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import orjson
from paho.mqtt.client import Client, MQTTMessage

sys.path.insert(0, str(Path(__file__).parents[1]))

from rig.broker import MosquittoBroker, publisher, wait_for
from rig.guard import Guard, write_settings
from rig.measuring import STOCK, Flood, packet

from watchdog.recorder.reader import Reader, RecordUnreadable

PRINTERS = ("anvil", "bramble", "cinder")
HOT = b'{"temperature_c": 180.0, "target_c": 60}'

BARE = """
import socket, sys, time
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

def on_message(client, data, message):
    print(time.monotonic_ns())
    client.disconnect()

def at_once(client, *_):
    if sys.argv[2:]:
        client.socket().setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)

client = Client(CallbackAPIVersion.VERSION2)
client.on_connect = lambda client, *_: (client.subscribe("anvil/bed"), at_once(client))
client.on_subscribe = at_once
client.on_message = on_message
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_forever()
"""


def bare(port: int, *options: str) -> float:
    """Milliseconds from exec to the first message."""
    began_ns = time.monotonic_ns()
    done = subprocess.run([sys.executable, "-c", BARE, str(port), *options], check=True, capture_output=True)
    return (int(done.stdout.split()[0]) - began_ns) / 1e6


class Plugs:
    """Remembers when the first command came."""

    def __init__(self, client: Client) -> None:
        self.off_ns = 0
        client.on_message = self._obey
        client.subscribe("+/plug/order", qos=1)

    def _obey(self, _client: Client, _data: Any, _message: MQTTMessage) -> None:
        self.off_ns = self.off_ns or time.monotonic_ns()


def tripped_s(state: Path) -> float | None:
    try:
        events = Reader(state / "record.sqlite").events()
    except RecordUnreadable:
        return None
    return next((event.at.engine_s for event in events if event.kind == "trip"), None)


def guarded(guard: Guard, plugs: Plugs, *, first: bool) -> tuple[float, float]:
    """Milliseconds from exec to the first judged reading, and to the command at the plug."""
    for entry in guard.state.iterdir() if guard.state.exists() else ():
        if entry.is_file():
            entry.unlink()
        elif first:
            shutil.rmtree(entry)
    plugs.off_ns = 0
    guard.start()
    if not wait_for(lambda: plugs.off_ns and tripped_s(guard.state), 20.0):
        raise SystemExit(f"no trip: {guard.log()}")
    judged_s = tripped_s(guard.state)
    assert judged_s is not None
    guard.stop()
    return 1000 * judged_s - guard.exec_ns / 1e6, (plugs.off_ns - guard.exec_ns) / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--first", action="store_true", help="no validated copy of the settings yet")
    options = parser.parse_args()
    found: dict[str, list[float]] = {"bare": [], "bare, at once": [], "judged": [], "off": []}
    with tempfile.TemporaryDirectory() as place, MosquittoBroker(Path(place), STOCK) as broker, publisher(broker.port) as ears:
        write_settings(Path(place) / "config", broker.port, PRINTERS, heaters=("bed", "hotend"))
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = f"{place}/compiled"
        guard = Guard(Path(place) / "config", Path(place) / "state")
        plugs = Plugs(ears)
        sender = Flood(broker.port)
        sender.send([packet("anvil/bed", HOT)] * 1_000_000, batch=1, every_s=0.001)
        bare(broker.port)
        guarded(guard, plugs, first=options.first)
        for _ in range(options.runs):
            found["bare"].append(bare(broker.port))
            found["bare, at once"].append(bare(broker.port, "at once"))
            judged_ms, off_ms = guarded(guard, plugs, first=options.first)
            found["judged"].append(judged_ms)
            found["off"].append(off_ms)
        sender.end()
    median = {name: round(statistics.median(values), 1) for name, values in found.items()}
    worst = {name: round(max(values), 1) for name, values in found.items()}
    ratio = round(median["judged"] / median["bare"], 2)
    at_once = round(median["judged"] / median["bare, at once"], 2)
    shown: dict[str, Any] = {"runs": options.runs, "first_start": options.first, "median_ms": median, "worst_ms": worst}
    shown |= {"ratio": ratio, "ratio_to_at_once": at_once}
    sys.stdout.write(orjson.dumps(shown).decode() + "\n")
    sys.stdout.write(f"exec to first judged reading: {median['judged']} ms, {ratio} times a bare paho script ({median['bare']} ms)\n")
    sys.stdout.write(f"and {at_once} times one that acknowledges at once ({median['bare, at once']} ms)\n")


if __name__ == "__main__":
    main()
