"""Talks to a running guard over its first socket."""

import socket
from pathlib import Path

from watchdog.core.values import JsonObject
from watchdog.settings.state_place import state_directory
from watchdog.wire.control import Request, decode_reply, encode_request

SOCKET = "guard.sock"
WITHIN_S = 8.0
MOST_BYTES = 64 * 1024 * 1024


class NoGuardError(Exception):
    """No guard answers; the text says where one was looked for and what to do."""


def ask(config: Path, state: Path | None, request: Request) -> JsonObject:
    """Ask the guard of this configuration. Raises NoGuardError."""
    directory = state_directory(config, state)
    return ask_at(directory / SOCKET, request)


def ask_at(path: Path, request: Request) -> JsonObject:
    """Ask the guard that listens at `path`. Raises NoGuardError."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
            client.settimeout(WITHIN_S)
            client.connect(str(path))
            client.sendall(encode_request(request))
            with client.makefile("rb") as lines:
                return decode_reply(lines.readline(MOST_BYTES))
    except FileNotFoundError:
        raise NoGuardError(f"no guard is running: there is no {path}. Start one with: heatwarden guard --config DIR") from None
    except PermissionError:
        raise NoGuardError(f"{path} may only be used by the guard's own user: run this as that user, or as root") from None
    except ConnectionRefusedError:
        raise NoGuardError(
            f"no guard is running: nobody listens at {path} any more. Start it with: heatwarden guard --config DIR"
        ) from None
    except (OSError, ValueError) as error:
        raise NoGuardError(f"the guard at {path} does not answer: {error}") from None
