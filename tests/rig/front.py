"""A real front process, and a plain client for it that hides nothing."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

import orjson
from rig.broker import free_port, wait_for

AS_INSTALLED = (sys.executable, "-m", "watchdog.cli.main", "front")
UP_WITHIN_S = 20.0


class Answer(NamedTuple):
    """What came back. Header names are lower-case."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return orjson.loads(self.body)

    @property
    def problem(self) -> str:
        """The name of the problem; the document is checked on the way."""
        assert self.headers["content-type"] == "application/problem+json", self
        document = self.json
        assert {"type", "title", "status", "detail", "what_to_do"} <= document.keys()
        assert document["status"] == self.status
        prefix, _, name = str(document["type"]).rpartition(":")
        assert prefix == "urn:heatwarden:problem"
        return name


class Front:
    """One front over a settings and a state directory. `settings`, if given, are lines of the [front] table besides its port."""

    def __init__(self, config: Path, state: Path, settings: str | None = "") -> None:
        self.config, self.state = config, state
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None
        if settings is not None:
            main = config / "heatwarden.toml"
            config.mkdir(parents=True, exist_ok=True)
            state.mkdir(parents=True, exist_ok=True)
            text = main.read_text() if main.exists() else 'site = "millbrook"\n'
            main.write_text(f"{text}\n[front]\nport = {self.port}\n{settings}\n")
            main.chmod(0o644)

    @property
    def log_file(self) -> Path:
        return self.state.parent / f"{self.state.name}-front.log"

    def log(self) -> str:
        return self.log_file.read_text(errors="replace") if self.log_file.exists() else ""

    def start(self) -> Self:
        """Returns once it listens."""
        with self.log_file.open("ab") as log:
            self.process = subprocess.Popen(
                [*AS_INSTALLED, "--config", str(self.config), "--state", str(self.state)],
                stdout=log,
                stderr=log,
                env=os.environ | {"STATE_DIRECTORY": "", "RUNTIME_DIRECTORY": ""},
            )
        if not wait_for(self._listens, UP_WITHIN_S):
            raise TimeoutError(f"the front did not listen within {UP_WITHIN_S} s:\n{self.log()}")
        return self

    def _listens(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, f"the front ended: {self.log()}"
        try:
            socket.create_connection(("127.0.0.1", self.port), timeout=0.5).close()
        except OSError:
            return False
        return True

    def ask(
        self, method: str, path: str, *, token: str = "", body: bytes | None = None, headers: Mapping[str, str] | None = None
    ) -> Answer:
        """One request over a connection of its own, with exactly these headers (and a Host)."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=15)
        given = {"Authorization": f"Bearer {token}"} if token else {}
        try:
            connection.request(method, path, body, {**given, **(headers or {})})
            response = connection.getresponse()
            return Answer(response.status, {name.lower(): value for name, value in response.getheaders()}, response.read())
        finally:
            connection.close()

    def get(self, path: str, token: str = "") -> Answer:
        return self.ask("GET", path, token=token)

    def post(self, path: str, value: Any, token: str = "", media_type: str = "application/json") -> Answer:
        body = value if isinstance(value, bytes) else orjson.dumps(value)
        return self.ask("POST", path, token=token, body=body, headers={"Content-Type": media_type})

    def connect(self) -> socket.socket:
        """A bare connection."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=15)

    def stop(self, within_s: float = 10.0) -> tuple[int, float]:
        """SIGTERM; the exit code, and how many seconds it took."""
        assert self.process is not None
        begun = time.monotonic_ns()
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(within_s), (time.monotonic_ns() - begun) / 1e9

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
