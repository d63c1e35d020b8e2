"""Simulated printers behind real MQTT, each with a pretend plug that really takes the simulated power away."""

import threading
from collections.abc import Callable
from typing import NamedTuple

import orjson
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from watchdog.cli.show.pace import TIMES_FASTER
from watchdog.cli.show.printers import Part
from watchdog.core.inputs import Reading
from watchdog.simulation.channel import Message
from watchdog.simulation.simulation import STEP_S, Simulation

METER_EVERY_S = 2.0
STANDBY_W = 0.3
"""What the plug itself draws."""

HOST = "127.0.0.1"


class Reached(NamedTuple):
    """How hot a heater's hottest spot became, in degrees Celsius, and after how many seconds it came to harm; infinity: never."""

    hottest_c: float
    harm_after_s: float


class Bench:
    """One printer and its plug, in a thread of their own, over one connection. Seconds are those of the workshop."""

    def __init__(self, part: Part, seed: int, port: int, now: Callable[[], float]) -> None:
        """Connects at once. Raises OSError when the broker is not there."""
        self.part = part
        self.now_c: dict[str, float] = {}
        """The hottest spot of each heater as it is now: the truth, which no sensor tells."""
        self.hottest_c = dict.fromkeys(part.heaters, 0.0)
        self.twin: Simulation | None = None
        """The same printer at the moment of the cut, still under power."""
        self._simulation = Simulation(part.scenario, seed)
        self._now = now
        self._began = now()
        self._metered_s = -METER_EVERY_S
        self._told_off = threading.Event()
        self._stop = threading.Event()
        self._topic = f"workshop/{part.name}"
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"workshop-{part.name}")
        self._client.on_connect = self._subscribe
        self._client.on_message = self._ordered
        self._client.connect(HOST, port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, name=f"workshop {part.name}", daemon=True)

    @property
    def powered(self) -> bool:
        """True until the plug has opened."""
        return self.twin is None

    @property
    def at_s(self) -> float:
        """How far the simulated printer has come."""
        return self._simulation.now_s

    def begin(self, at: float) -> None:
        """The show begins at `at`."""
        self._began = at
        self._thread.start()

    def end(self) -> None:
        """Everybody goes home."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(1.0)
        self._client.disconnect()
        self._client.loop_stop()

    def without_the_cut(self, for_s: float) -> dict[str, Reached]:
        """What each heater would have come to within `for_s` of the cut, or of now where there was none.

        For when the show is over: what was at the moment of the cut is copied and left alone.
        """
        twin = (self.twin or self._simulation).copy()
        began_s = twin.now_s
        hottest_c, harm_s = dict(self.hottest_c), dict.fromkeys(self.hottest_c, float("inf"))
        while twin.now_s < began_s + for_s:
            twin.step(1.0)
            for name, celsius in twin.hottest_c().items():
                hottest_c[name] = max(hottest_c[name], celsius)
                if celsius >= self.part.heaters[name].harm_c:
                    harm_s[name] = min(harm_s[name], twin.now_s - began_s)
        return {name: Reached(hottest_c[name], harm_s[name]) for name in hottest_c}

    def _subscribe(self, client: paho.Client, *_: object) -> None:
        client.subscribe(f"{self._topic}/plug/order", qos=1)
        self._echo()

    def _ordered(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        if message.payload == b"open":
            self._told_off.set()
        self._echo()

    def _echo(self) -> None:
        self._client.publish(f"{self._topic}/plug/says", "open" if self._told_off.is_set() else "closed", retain=True)

    def _run(self) -> None:
        while not self._stop.wait(STEP_S / TIMES_FASTER):
            while self._simulation.now_s + STEP_S <= self._now() - self._began and not self._stop.is_set():
                self._advance()

    def _advance(self) -> None:
        """One step of the plant, with the plug as it stands now."""
        simulation = self._simulation
        if self._told_off.is_set() and self.twin is None:
            self.twin = simulation.copy()
        for message in simulation.step(STEP_S, powered=self.twin is None):
            self._publish(message)
        self.now_c = simulation.hottest_c()
        self.hottest_c = {name: max(self.hottest_c[name], celsius) for name, celsius in self.now_c.items()}
        if simulation.now_s >= self._metered_s + METER_EVERY_S:
            self._metered_s = simulation.now_s
            self._echo()
            self._client.publish(f"{self._topic}/plug/watts", f"{simulation.machine.wall_w() + STANDBY_W:.1f}")

    def _publish(self, message: Message) -> None:
        if isinstance(message, Reading):
            told = {"temperature_c": message.temperature_c, "target_c": message.target_c, "duty": message.duty}
            self._client.publish(f"{self._topic}/{message.heater}", orjson.dumps(told))
