"""The guard's second socket: for the front. Its clients hold tokens, and may be flooded, hung, killed, or hostile."""

import logging
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from watchdog.guard.unix_server import UnixServer
from watchdog.wire.front import MAX_LINE, Refused, encode_refusal

log = logging.getLogger("heatwarden")

MOST_CLIENTS: Final = 32
QUEUE: Final = 256
"""So many may wait to be let in, or to be told that there is no place; more cannot connect."""

IDLE_S: Final = 60.0
"""A client that asks nothing for so long is let go; it may come again."""

LINE_WITHIN_S: Final = 10.0
READ_WITHIN_S: Final = 5.0
"""So long a client may take to send a request once it has begun, and to read its answer."""

PIECE: Final = 65536
SMALL: Final = 4096
CRUMBS_EVERY_S: Final = 0.002
"""A request that comes byte by byte is collected at leisure."""

ACCEPT_EVERY_S: Final = 0.002
"""Whoever comes and goes as fast as possible must not keep the processor busy with it."""

FULL: Final = encode_refusal(Refused("busy", f"there are {MOST_CLIENTS} clients already; try again"))
TOO_LONG: Final = encode_refusal(Refused("bad request", f"a request has at most {MAX_LINE} bytes"))

_PAUSE: Final = threading.Event()


class FrontSocket:
    """A Unix socket, mode 0660, of the guard's group. The loop never waits for a client; each client has a thread of its own."""

    def __init__(self, path: Path, answer: Callable[[bytes], bytes], now: Callable[[], float]) -> None:
        """`answer` is called in the client's thread; `now` gives engine seconds. Raises OSError when `path` cannot be used."""
        self._path = path
        path.unlink(missing_ok=True)
        self._server = _Server(str(path), answer, now)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.5}, name="front", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Listen no more."""
        self._server.shutdown()
        self._server.server_close()
        self._path.unlink(missing_ok=True)


class _Server(UnixServer):
    request_queue_size = QUEUE

    def __init__(self, path: str, answer: Callable[[bytes], bytes], now: Callable[[], float]) -> None:
        self._answer, self._now = answer, now
        self._places = threading.BoundedSemaphore(MOST_CLIENTS)
        super().__init__(path, _unused, bind_and_activate=False)
        try:
            self.server_bind()
            Path(path).chmod(0o660)
            self.server_activate()
        except OSError:
            self.server_close()
            raise

    def process_request(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - as in the base class
        """In the thread that accepts: a thread of its own for the client, or a word that there is no place."""
        self._closing.wait(ACCEPT_EVERY_S)
        if not self._places.acquire(blocking=False):
            request.setblocking(False)
            with suppress(OSError):
                request.send(FULL)  # nothing was sent before, so that it goes at once
            self.shutdown_request(request)
            return
        try:
            super().process_request(request, client_address)
        except BaseException:
            self._places.release()
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - as in the base class
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._places.release()

    def finish_request(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - as in the base class
        """In the client's thread, until it goes."""
        del client_address
        try:
            _serve(request, self._answer, self._now)
        except (TimeoutError, OSError):
            return  # a slow or vanished client is dropped

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - as in the base class
        del request, client_address
        log.exception("a client of the front's socket failed")  # noqa: LOG004 - called from within the handler


def _unused(*_: Any) -> Any:  # noqa: ANN401 - the base class wants a handler; `finish_request` does its work
    raise NotImplementedError


def _serve(client: socket.socket, answer: Callable[[bytes], bytes], now: Callable[[], float]) -> None:
    """Answer one request after the other. Raises OSError, TimeoutError among them, when the client is gone or too slow."""
    waiting = bytearray()
    while True:
        line = _line(client, waiting, now)
        if line is None:
            return
        client.settimeout(READ_WITHIN_S)
        if len(line) > MAX_LINE:
            client.sendall(TOO_LONG)
            return
        client.sendall(answer(line))


def _line(client: socket.socket, waiting: bytearray, now: Callable[[], float]) -> bytes | None:
    """The next line; None at the end, half a line being none. What came after it stays in `waiting`. Longer than allowed: not all of it."""
    until = now() + LINE_WITHIN_S if waiting else None
    looked_at = 0
    while True:
        end = waiting.find(b"\n", looked_at)
        if end >= 0:
            line = bytes(waiting[: end + 1])
            del waiting[: end + 1]
            return line
        if len(waiting) > MAX_LINE:
            return bytes(waiting)
        looked_at = len(waiting)
        client.settimeout(IDLE_S if until is None else max(until - now(), 0.001))
        piece = client.recv(PIECE)
        if not piece:
            return None
        until = now() + LINE_WITHIN_S if until is None else until
        waiting += piece
        if len(piece) < SMALL and not piece.endswith(b"\n"):
            _PAUSE.wait(CRUMBS_EVERY_S)
