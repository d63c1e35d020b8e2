"""A scripted printer that publishes its readings over real MQTT, in a thread or in a process of its own.

In a test: `with Printer(port, "millbrook/anvil/bed", target_c=60) as printer: printer.temperature_c = 180`.
As a process, to be killed or stopped: `python tests/rig/printer.py --port 1883 --topic millbrook/anvil/bed --will millbrook/anvil/here`;
it prints `ready` once it is connected.
"""

import argparse
import random
import secrets
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import orjson
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

HERE = Path(__file__)


class Printer:
    """Publishes every `every_s` seconds. `temperature_c` and `target_c` may be changed at any time; a callable is asked each time.

    `payload`, if set, goes out as it is instead. `quiet` stops the readings and leaves the connection.
    """

    def __init__(
        self,
        port: int,
        topic: str,
        *,
        every_s: float = 0.25,
        temperature_c: float | Callable[[], float] = 60.0,
        target_c: float = 60.0,
        host: str = "127.0.0.1",
    ) -> None:
        self.topic, self.every_s, self.target_c = topic, every_s, target_c
        self.temperature_c: float | Callable[[], float] = temperature_c
        self.payload: bytes | None = None
        self.retain = False
        self.quiet = False
        self.powered: Callable[[], bool] = lambda: True
        """Whether its board has power: without it says nothing."""
        self.noise_k = 0.05
        self._where = (host, port)
        self._dice = random.Random(topic)
        self._ending = threading.Event()
        self._connected = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, f"printer-{secrets.token_hex(6)}", protocol=MQTTProtocolVersion.MQTTv5)
        self.client.reconnect_delay_set(1, 1)
        self.client.on_connect = lambda *_: self._connected.set()
        self._thread = threading.Thread(target=self._run, name=f"printer {topic}", daemon=True)

    def say(self, temperature_c: float | None = None) -> None:
        """One reading, now."""
        self.client.publish(self.topic, self._message(temperature_c), retain=self.retain)

    def _message(self, temperature_c: float | None = None) -> bytes:
        if self.payload is not None:
            return self.payload
        if temperature_c is None:
            found = self.temperature_c() if callable(self.temperature_c) else self.temperature_c
            temperature_c = round(found + self._dice.uniform(-self.noise_k, self.noise_k), 3)
        return orjson.dumps({"temperature_c": temperature_c, "target_c": self.target_c})

    def _run(self) -> None:
        while not self._ending.wait(self.every_s):
            if not self.quiet and self.powered():
                self.say()

    def start(self) -> Self:
        self.client.connect(*self._where, keepalive=10)
        self.client.loop_start()
        if not self._connected.wait(5):
            raise TimeoutError("the printer could not connect")
        self.say()
        self._thread.start()
        return self

    def stop(self) -> None:
        self._ending.set()
        self._thread.join(2)
        self.client.disconnect()
        self.client.loop_stop()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()


class PrinterProcess:
    """A printer in a process of its own; options are those of the command line."""

    def __init__(self, port: int, topic: str, **options: object) -> None:
        words = [word for key, value in options.items() for word in ("--" + key.replace("_", "-"), str(value))]
        command: list[Any] = [sys.executable, HERE, "--port", str(port), "--topic", topic, *words]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE)
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == b"ready\n", "the printer's process did not connect"

    def signal(self, number: signal.Signals) -> float:
        """Send a signal; returns the moment in monotonic seconds."""
        at = time.monotonic_ns() / 1e9
        self.process.send_signal(number)
        return at

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate(timeout=5)


def main() -> None:
    """Publish until SIGTERM."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--topic", required=True)
    parser.add_argument("--every-s", type=float, default=0.25)
    parser.add_argument("--temperature-c", type=float, default=60.0)
    parser.add_argument("--target-c", type=float, default=60.0)
    parser.add_argument("--will", default="")
    given = parser.parse_args()
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    printer = Printer(given.port, given.topic, every_s=given.every_s, temperature_c=given.temperature_c, target_c=given.target_c)
    if given.will:
        printer.client.will_set(given.will, "gone", qos=1)
    with printer:
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        ended.wait()


if __name__ == "__main__":
    main()
