"""A bench of the kill tests: one printer, its plug and its guard, each a process; many benches share one real broker."""

import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from rig.broker import say, wait_for
from rig.guard import AS_INSTALLED, Guard, write_settings
from rig.plug import read_truth

HERE = Path(__file__).parent
COLD = '{"temperature_c": 24.0, "target_c": 0}'
HOT = '{"temperature_c": 180.0, "target_c": 60}'


class Ears:
    """Counts the OFF commands on each order topic; the broker passes them on in the order in which plugs get them."""

    def __init__(self, client: Client) -> None:
        self.orders: dict[str, int] = {}
        ready = threading.Event()
        client.on_message = self._heard
        client.on_subscribe = lambda *_: ready.set()
        client.subscribe("+/plug/order", qos=1)
        assert ready.wait(5)

    def _heard(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        printer = message.topic.partition("/")[0]
        assert message.payload == b"off"
        assert not message.retain
        self.orders[printer] = self.orders.get(printer, 0) + 1


class Bench:
    """One printer, its plug (a process with a log of the truth) and its guard."""

    def __init__(self, name: str, folder: Path, port: int, voice: Client, ears: Ears) -> None:
        self.name, self.folder, self._voice, self._ears = name, folder, voice, ears
        self.truth = folder / "truth.jsonl"
        self._port = port
        write_settings(folder / "config", port, [name])
        self.guard = Guard(folder / "config", folder / "state")
        self._plug: subprocess.Popen[bytes] | None = None

    def begin(self, command: Sequence[str] = AS_INSTALLED) -> None:
        """Plug on, guard on, one healthy reading heard."""
        (self.folder / "plug.log").touch()
        options = {"--port": self._port, "--order-topic": f"{self.name}/plug/order", "--echo-topic": f"{self.name}/plug/echo"}
        options |= {"--truth": self.truth}
        arguments = [str(part) for pair in options.items() for part in pair]
        self._plug = subprocess.Popen([sys.executable, str(HERE / "plug.py"), *arguments], stdout=subprocess.DEVNULL)
        self.restart(command)
        assert wait_for(lambda: len(read_truth(self.truth)) > 0)
        self.guard.wait_armed()
        self.cool()

    def restart(self, command: Sequence[str] = AS_INSTALLED) -> None:
        self.guard = Guard(self.folder / "config", self.folder / "state", command=command).start()

    def cool(self) -> None:
        """A healthy reading, repeated until the guard has heard one."""

        def heard() -> bool:
            say(self._voice, f"{self.name}/bed", COLD)
            return bool(self.guard.printer(self.name)["heaters"][0]["temperature_c"] == 24.0)

        assert wait_for(heard)

    def overheat(self) -> None:
        """Publish the one reading that trips."""
        say(self._voice, f"{self.name}/bed", HOT)

    @property
    def powered(self) -> bool:
        """The truth of the plug."""
        return read_truth(self.truth)[-1].on

    @property
    def orders(self) -> int:
        """How many OFF commands have been seen so far."""
        return self._ears.orders.get(self.name, 0)

    def latch(self) -> dict[str, Any] | None:
        found: dict[str, Any] | None = self.guard.printer(self.name)["latch"]
        return found

    def confirmed(self) -> bool:
        latch = self.latch()
        return latch is not None and latch["verdict"] in {"confirmed", "proven"}

    def end(self) -> None:
        for process in (self.guard.process, self._plug):
            if process is not None and process.poll() is None:
                process.kill()
                process.wait(10)


def killing_at(point: str, nth: int = 1) -> Sequence[str]:
    """The command of a guard that kills itself there."""
    return (sys.executable, str(HERE / "kill_at.py"), "--at", point, "--nth", str(nth))
