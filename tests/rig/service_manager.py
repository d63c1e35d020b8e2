"""The service manager's end of the notification socket: what a guard says there, and when."""

import contextlib
import socket
import threading
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from rig.workshop import seconds


class Said(NamedTuple):
    """One word, and when it came on the clock of all processes."""

    at: float
    text: str


class Ear:
    """Listens at a datagram socket in `folder`. `environment` is what a service manager would give its guard."""

    def __init__(self, folder: Path, watchdog_s: float) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(folder / "notify"))
        self._socket.settimeout(0.1)
        self.environment = {"NOTIFY_SOCKET": str(folder / "notify"), "WATCHDOG_USEC": str(int(watchdog_s * 1e6))}
        self.said: list[Said] = []
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        while not self._ending.is_set():
            with contextlib.suppress(TimeoutError):
                said = self._socket.recv(4096).decode()
                self.said += [Said(seconds(), line) for line in said.splitlines()]

    def times(self, text: str, since: float = 0.0) -> list[float]:
        """When it said so."""
        return [said.at for said in self.said if said.text == text and said.at >= since]

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        self._thread.join()
        self._socket.close()
