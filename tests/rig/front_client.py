"""A client of the guard's second socket, and tokens made as a person makes them."""

import socket
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import orjson

from watchdog.wire.control import decode_reply
from watchdog.wire.front import FrontRequest, encode_front_request

COMMAND = (sys.executable, "-m", "watchdog.cli.main", "token")


def token_command(state: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """`heatwarden token` with these words."""
    return subprocess.run([*COMMAND, *words, "--state", str(state)], capture_output=True, text=True, check=False, timeout=30)


def new_token(state: Path, name: str, *scopes: str, more: tuple[str, ...] = ()) -> str:
    """A token with these scopes, made by the command line."""
    options = [word for scope in scopes for word in ("--scope", scope)]
    done = token_command(state, "make", name, *options, *more)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


class FrontClient:
    """One connection."""

    def __init__(self, path: Path, within_s: float = 10.0) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.settimeout(within_s)
        self.socket.connect(str(path))
        self._lines = self.socket.makefile("rb")

    def ask(self, request: FrontRequest) -> dict[str, Any]:
        self.socket.sendall(encode_front_request(request))
        return self.reply()

    def raw(self, line: bytes) -> dict[str, Any]:
        self.socket.sendall(line)
        return self.reply()

    def json(self, **request: Any) -> dict[str, Any]:
        return self.raw(orjson.dumps(request) + b"\n")

    def reply(self) -> dict[str, Any]:
        return decode_reply(self._lines.readline())

    def ended(self) -> bool:
        """Whether the other side has closed; waits for it."""
        try:
            return self._lines.readline() == b""
        except ConnectionError:
            return True

    def close(self) -> None:
        self._lines.close()
        self.socket.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()
