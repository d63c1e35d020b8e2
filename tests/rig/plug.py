"""A plug on MQTT that really switches (a variable), keeps a log of the truth, and can lie.

In a test: `with Plug(Habits(port=broker.port)) as plug: ...`. In a process of its own:
`python tests/rig/plug.py --port 1883 --truth truth.jsonl --lie welded`; it prints `ready` once it listens.
The truth is a list of `Truth(at_ns, on)`, with `time.monotonic_ns` stamps, which all processes of a host share.
"""

import argparse
import secrets
import signal
import socket
import sys
import threading
import time
from dataclasses import dataclass, fields
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, NamedTuple, Self

import orjson
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

Lie = Literal["none", "welded", "silent", "deaf"]


class Truth(NamedTuple):
    at_ns: int
    on: bool


@dataclass(frozen=True)
class Habits:
    """How a plug behaves. An empty topic leaves that part out.

    `lie` welded: echoes off, but the contact stays closed. silent: switches, never echoes. deaf: does nothing at all.
    `back_on_after_s` above 0: power returns that long after each OFF, with an honest echo.
    """

    port: int
    host: str = "127.0.0.1"
    order_topic: str = "plug/set"
    echo_topic: str = "plug/state"
    meter_topic: str = ""
    presence_topic: str = ""
    watts: float = 310.0
    standby_w: float = 0.4
    meter_every_s: float = 0.2
    on: bool = True
    lie: Lie = "none"
    back_on_after_s: float = 0.0
    truth: str = ""
    user: str = ""
    password: str = ""


class Plug:
    """One plug. Its callbacks run in its client's thread, its meter in another."""

    def __init__(self, habits: Habits) -> None:
        self.habits = habits
        self.on = habits.on
        self.truth: list[Truth] = []
        self.heard: list[tuple[int, bytes, bool]] = []
        self._lock = threading.Lock()
        self._ready = threading.Event()
        self._ending = threading.Event()
        self._timers: list[threading.Timer] = []
        self._meter = threading.Thread(target=self._measure, daemon=True)
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=f"plug-{secrets.token_hex(6)}", protocol=MQTTProtocolVersion.MQTTv5
        )
        if habits.user:
            self._client.username_pw_set(habits.user, habits.password)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_socket_open = _no_delay
        self._client.on_connect = self._connected
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = self._obey
        if habits.presence_topic:
            self._client.will_set(habits.presence_topic, "gone", qos=1, retain=True)

    def start(self, *, wait_s: float = 5.0) -> Self:
        """Connect and return once commands are heard."""
        self._log(on=self.on)
        self._client.connect(self.habits.host, self.habits.port, keepalive=5)
        self._client.loop_start()
        if not self._ready.wait(wait_s):
            raise TimeoutError("the plug was not subscribed in time")
        if self.habits.meter_topic:
            self._meter.start()
        return self

    def stop(self) -> None:
        """Leave properly, which publishes no last will."""
        self._ending.set()
        for timer in self._timers:
            timer.cancel()
        if self._meter.is_alive():
            self._meter.join()
        if self.habits.presence_topic:
            self._client.publish(self.habits.presence_topic, "gone", qos=1, retain=True)
        self._client.disconnect()
        self._client.loop_stop()

    def vanish(self) -> None:
        """Go as if unplugged from the wall: the broker has to publish the last will."""
        self._ending.set()
        sock: Any = self._client.socket()
        self._client.on_connect = None
        self._client.reconnect_delay_set(60, 60)
        if sock is not None:
            sock.shutdown(socket.SHUT_RDWR)

    def switch(self, *, on: bool, echo: bool = True) -> None:
        """Switch as its own button, or a schedule in it, would."""
        with self._lock:
            if on != self.on:
                self._log(on=on)
            self.on = on
        if echo:
            self._echo(on=on)

    def off_at_ns(self) -> int | None:
        """When power was last really cut, None while it is on."""
        return None if self.on else next(entry.at_ns for entry in reversed(self.truth) if not entry.on)

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()

    def _connected(self, client: paho.Client, *_: Any) -> None:
        client.subscribe(self.habits.order_topic, qos=1)
        if self.habits.presence_topic:
            client.publish(self.habits.presence_topic, "here", qos=1, retain=True)
        if self.habits.lie in {"none", "welded"}:
            self._echo(on=self.on)

    def _obey(self, _client: object, _userdata: object, message: paho.MQTTMessage) -> None:
        self.heard.append((time.monotonic_ns(), bytes(message.payload), message.retain))
        lie = self.habits.lie
        if lie == "deaf" or message.payload not in {b"on", b"off"}:
            return
        on = message.payload == b"on"
        if lie == "welded":
            self._echo(on=on)
            return
        self.switch(on=on, echo=lie != "silent")
        if not on and self.habits.back_on_after_s > 0:
            timer = threading.Timer(self.habits.back_on_after_s, lambda: self.switch(on=True))
            timer.daemon = True
            self._timers.append(timer)
            timer.start()

    def _echo(self, *, on: bool) -> None:
        if self.habits.echo_topic:
            self._client.publish(self.habits.echo_topic, "on" if on else "off", qos=1, retain=True)

    def _measure(self) -> None:
        while not self._ending.wait(self.habits.meter_every_s):
            watts = self.habits.watts if self.on else self.habits.standby_w
            self._client.publish(self.habits.meter_topic, orjson.dumps({"power_w": watts}))

    def _log(self, *, on: bool) -> None:
        entry = Truth(time.monotonic_ns(), on)
        self.truth.append(entry)
        if self.habits.truth:
            with Path(self.habits.truth).open("ab") as lines:
                lines.write(orjson.dumps(entry._asdict()) + b"\n")


def read_truth(path: Path) -> list[Truth]:
    """The truth that a plug in another process wrote down."""
    return [Truth(**orjson.loads(line)) for line in path.read_bytes().splitlines()] if path.exists() else []


def _no_delay(_client: paho.Client, _userdata: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def main() -> None:
    """One option for each field of `Habits`; ends at SIGTERM or SIGINT."""
    parser = argparse.ArgumentParser(description=__doc__)
    for one in fields(Habits):
        option = "--" + one.name.replace("_", "-")
        if one.name == "on":
            parser.add_argument("--off", dest="on", action="store_false", default=True)
        elif one.name == "port":
            parser.add_argument(option, type=int, required=True)
        else:
            parser.add_argument(option, type=type(one.default), default=one.default)
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    signal.signal(signal.SIGINT, lambda *_: ended.set())
    with Plug(Habits(**vars(parser.parse_args()))):
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        ended.wait()


if __name__ == "__main__":
    main()
