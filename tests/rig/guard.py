"""A real guard in a process of its own, settings for it, and what it says."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from rig.broker import wait_for

from watchdog.cli.client import NoGuardError, ask_at
from watchdog.wire.control import Request

AS_INSTALLED = (sys.executable, "-m", "watchdog.cli.main", "guard")
ARMED_WITHIN_S = 20.0

MAIN = """site = "millbrook"

[brokers.shed]
host = "127.0.0.1"
port = {port}
protocol = "{protocol}"
"""

RELAY = """
[relays.{name}-plug]
kind = "mqtt"
broker = "shed"
cuts = "printer"
feeds_board = false
order = {{ topic = "{name}/plug/order" }}
echo = {{ topic = "{name}/plug/echo" }}
"""

HEATER = """
[heaters.{name}]
kind = "{name}"
readings = {{ broker = "shed", topic = "{prefix}{printer}/{name}", longest_interval_s = {longest_interval_s:.1f} }}
[heaters.{name}.limits.ceiling]
confirm_s = 0.0
"""


def write_settings(
    config: Path,
    port: int,
    printers: Iterable[str],
    *,
    heaters: Sequence[str] = ("bed",),
    longest_interval_s: float = 10.0,
    prefix: str = "",
    protocol: str = "5",
) -> None:
    """Printers with one plug each; the ceiling cuts on the first reading. Topics: NAME/HEATER, NAME/plug/order, NAME/plug/echo."""
    names = list(printers)
    (config / "printers").mkdir(parents=True, exist_ok=True)
    (config / "heatwarden.toml").write_text(MAIN.format(port=port, protocol=protocol) + "".join(RELAY.format(name=name) for name in names))
    for printer in names:
        parts = [f'relays = ["{printer}-plug"]\n']
        parts += [HEATER.format(name=name, printer=printer, prefix=prefix, longest_interval_s=longest_interval_s) for name in heaters]
        (config / "printers" / f"{printer}.toml").write_text("".join(parts))


class Guard:
    """One guard over a settings and a state directory. `command` runs another entry than the installed one, `environment` adds to ours."""

    def __init__(
        self, config: Path, state: Path, *, command: Sequence[str] = AS_INSTALLED, environment: Mapping[str, str] | None = None
    ) -> None:
        self.config, self.state, self.command = config, state, command
        self.environment = dict(environment or {})
        self.process: subprocess.Popen[bytes] | None = None
        self.exec_ns = 0

    @property
    def log_file(self) -> Path:
        return self.state.parent / f"{self.state.name}.log"

    def start(self) -> Self:
        """Returns at once; see `wait_armed`."""
        self.state.parent.mkdir(parents=True, exist_ok=True)
        with self.log_file.open("ab") as log:
            self.exec_ns = time.monotonic_ns()  # which all processes of a host share
            self.process = subprocess.Popen(
                [*self.command, "--config", str(self.config), "--state", str(self.state)],
                stdout=log,
                stderr=log,
                env=os.environ | {"STATE_DIRECTORY": ""} | self.environment,
            )
        return self

    def wait_armed(self, within_s: float = ARMED_WITHIN_S) -> Self:
        """Until every connection stands and every relay can be reached. A rig needs that, a guard does not."""
        if not wait_for(self._armed, within_s):
            raise TimeoutError(f"the guard was not armed within {within_s} s:\n{self.log()}")
        return self

    def _armed(self) -> bool:
        status = self.status_if_any()
        if status is None:
            assert self.process is not None
            assert self.process.poll() is None, f"the guard ended: {self.log()}"
            return False
        return all(link["connected"] for link in status["links"]) and all(relay["reachable"] for relay in status["relays"])

    def ask(self, request: Request) -> dict[str, Any]:
        return ask_at(self.state / "guard.sock", request)

    def status(self) -> dict[str, Any]:
        status: dict[str, Any] = self.ask(Request("status"))["status"]
        return status

    def status_if_any(self) -> dict[str, Any] | None:
        try:
            return self.status()
        except NoGuardError:
            return None

    def printer(self, name: str) -> dict[str, Any]:
        """The status of one printer."""
        found: dict[str, Any] = next(entry for entry in self.status()["printers"] if entry["name"] == name)
        return found

    def reset(self, printer: str, *, unread: bool = False, vouched: bool = False) -> dict[str, Any]:
        return self.ask(Request("reset", printer, person="the rig", reason="next trial", unread=unread, vouched=vouched))

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)

    def ended_within(self, within_s: float) -> int | None:
        """The exit code, negative for a signal; None while it still runs after that time."""
        assert self.process is not None
        try:
            return self.process.wait(within_s)
        except subprocess.TimeoutExpired:
            return None

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(10)

    def log(self) -> str:
        return self.log_file.read_text(errors="replace") if self.log_file.exists() else ""

    def __enter__(self) -> Self:
        return self if self.process is not None else self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        if self.process is not None and self.process.poll() is None:
            self.kill()
