"""Pretend printers and pretend plugs over real MQTT: a plug that opens really stops the heat of its printer's script."""

import threading
from collections.abc import Callable

import orjson
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from watchdog.simulation.script import ScriptedPrinter

EVERY_S = 0.5
WATTS = 310.0
STANDBY_W = 0.3


class Bench:
    """One printer and its plug, in a thread of their own, over one connection."""

    def __init__(self, printer: ScriptedPrinter, port: int, now: Callable[[], float]) -> None:
        self.printer = printer
        self.powered = True
        self.off_at: float | None = None
        self.hottest_c = 0.0
        self._now = now
        self._began = now()
        self._stop = threading.Event()
        self._topic = f"demo/{printer.name}"
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"demo-{printer.name}")
        self._client.on_connect = self._subscribe
        self._client.on_message = self._ordered
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, name=f"demo {printer.name}", daemon=True)

    def begin(self) -> None:
        """The show starts now."""
        self._began = self._now()
        self._thread.start()

    def end(self) -> None:
        """Everybody goes home."""
        self._stop.set()
        self._thread.join(2.0)
        self._client.loop_stop()
        self._client.disconnect()

    def _subscribe(self, client: paho.Client, *_: object) -> None:
        client.subscribe(f"{self._topic}/plug/order", qos=1)
        self._echo()

    def _ordered(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        if message.payload == b"open" and self.powered:
            self.powered = False
            self.off_at = self._now()
        self._echo()

    def _echo(self) -> None:
        self._client.publish(f"{self._topic}/plug/says", "closed" if self.powered else "open", retain=True)
        self._client.publish(f"{self._topic}/plug/watts", f"{WATTS if self.powered else STANDBY_W}")

    def _run(self) -> None:
        while not self._stop.wait(EVERY_S):
            at_s = self._now() - self._began
            for heater in self.printer.heaters:
                report = heater.step(at_s, EVERY_S, powered=self.powered)
                self.hottest_c = max(self.hottest_c, heater.temperature_c) if heater.name == "bed" else self.hottest_c
                if report is not None:
                    self._client.publish(f"{self._topic}/{heater.name}", orjson.dumps(report))
            self._echo()
