"""A plug with an HTTP interface that really switches (a variable), keeps a log of the truth, and can go wrong in many ways.

In a test: `with HttpPlug(HttpHabits()) as plug: ...`; it listens on `plug.port`. `POST /contact` with the word takes an order in its body,
`GET /contact` tells the state. The truth is a list of `Truth(at_ns, on)`, with `time.monotonic_ns` stamps.
"""

import gzip
import ssl
import threading
import time
from dataclasses import dataclass, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, NamedTuple, Self

import orjson
from rig.plug import Truth

Fault = Literal[
    "none", "error body", "redirect", "hang", "hang in the body", "closes early", "cut short", "drip", "head drip", "login", "packed",
    "long", "no content", "not http",
]  # fmt: skip
Lie = Literal["none", "welded", "deaf"]
HUNG_S = 30.0
LOGIN = b"<!doctype html><title>Sign in</title><form>word: <input name=word></form>"


@dataclass(frozen=True)
class HttpHabits:
    """How a plug behaves. `order` and `state` name what goes wrong with either request, before anything is switched.

    `lie` welded: says off, but the contact stays closed. deaf: takes each order and does nothing.
    `word`: what must come as `Authorization: Bearer WORD`.
    `answers_state`: an order is answered with the state, not with a result.
    """

    order: Fault = "none"
    state: Fault = "none"
    lie: Lie = "none"
    word: str = ""
    watts: Any = 310.0
    standby_w: float = 0.4
    on: bool = True
    certificate: tuple[Path, Path] | None = None
    says_off: str = "open"
    says_on: str = "closed"
    answers_state: bool = False


class Heard(NamedTuple):
    """One request, as it came."""

    at_ns: int
    method: str
    path: str
    headers: dict[str, str]
    body: bytes


class HttpPlug:
    """One plug. Each request has a thread of its own."""

    def __init__(self, habits: HttpHabits | None = None) -> None:
        self.habits = habits or HttpHabits()
        self.on = self.says_on = self.habits.on
        self.truth: list[Truth] = [Truth(time.monotonic_ns(), self.on)]
        self.heard: list[Heard] = []
        self.ending = threading.Event()
        self._lock = threading.Lock()
        plug = self

        class Handler(_Handler):
            def __init__(self, *args: Any) -> None:
                self.plug = plug
                super().__init__(*args)

        self._server = _Server(("127.0.0.1", 0), Handler)
        if self.habits.certificate:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(*self.habits.certificate)
            self._server.socket = context.wrap_socket(self._server.socket, server_side=True, do_handshake_on_connect=False)
        self.port = int(self._server.server_address[1])
        self._thread = threading.Thread(target=lambda: self._server.serve_forever(0.05), daemon=True)

    @property
    def url(self) -> str:
        return f"{'https' if self.habits.certificate else 'http'}://127.0.0.1:{self.port}/contact"

    def change(self, **habits: Any) -> None:
        """From now on it behaves so."""
        self.habits = replace(self.habits, **habits)

    def orders(self) -> list[Heard]:
        return [heard for heard in self.heard if heard.method != "GET"]

    def switch(self, *, on: bool) -> None:
        """Switch as its own button would."""
        with self._lock:
            if on != self.on:
                self.truth.append(Truth(time.monotonic_ns(), on))
            self.on = self.says_on = on

    def obey(self, body: bytes) -> None:
        if body == b"contact=open" and self.habits.lie == "welded":
            self.says_on = False
        elif body == b"contact=open" and self.habits.lie == "none":
            self.switch(on=False)

    def off_at_ns(self) -> int | None:
        """When power was last really cut, None while it is on."""
        return None if self.on else next(entry.at_ns for entry in reversed(self.truth) if not entry.on)

    def told(self) -> bytes:
        habits = self.habits
        says = habits.says_on if self.says_on else habits.says_off
        return orjson.dumps({"contact": says, "power": {"watts": habits.watts if self.on else habits.standby_w}})

    def stop(self) -> None:
        self.ending.set()
        self._server.shutdown()
        self._server.server_close()

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def handle_error(self, *_: Any) -> None:
        """Clients that leave early are what this is for."""


class _Handler(BaseHTTPRequestHandler):
    plug: HttpPlug
    protocol_version = "HTTP/1.1"

    def log_message(self, *_: Any) -> None:
        """Silent."""

    def do_GET(self) -> None:
        self._hear(b"")
        self._answer(self.plug.habits.state)

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self._hear(body)
        if self.plug.habits.order == "none" and self._allowed():
            self.plug.obey(body)
        self._answer(self.plug.habits.order)

    def _hear(self, body: bytes) -> None:
        headers = {name.lower(): value for name, value in self.headers.items()}
        self.plug.heard.append(Heard(time.monotonic_ns(), self.command, self.path, headers, body))

    def _allowed(self) -> bool:
        word = self.plug.habits.word
        return not word or self.headers.get("Authorization") == f"Bearer {word}"

    def _answer(self, fault: Fault) -> None:
        body = self.plug.told() if self.command == "GET" or self.plug.habits.answers_state else b'{"result": "done"}'
        if not self._allowed() or fault == "login":
            self._whole(401 if not self._allowed() or self.command == "POST" else 200, LOGIN, "text/html")
        elif fault == "none":
            self._whole(200, body)
        else:
            self._go_wrong(fault, body)

    def _go_wrong(self, fault: Fault, body: bytes) -> None:
        if fault == "error body":
            self._whole(200, b'{"result": "refused", "why": "too many clients"}')
        elif fault == "redirect":
            self._whole(302, b"", location=f"http://127.0.0.1:{self.plug.port}/elsewhere")
        elif fault == "no content":
            self._whole(204, b"")
        elif fault == "packed":
            self._whole(200, gzip.compress(body), encoding="gzip")
        elif fault == "long":
            self._whole(200, body + b" " * 70_000)
        elif fault == "not http":
            self.wfile.write(b"contact open\r\n\r\n")
        else:
            self._go_slow(fault, body)
        self.close_connection = True

    def _go_slow(self, fault: Fault, body: bytes) -> None:
        if fault == "hang":
            self.plug.ending.wait(HUNG_S)
        elif fault == "head drip":
            self._drip(b"HTTP/1.1 200 OK\r\nX-Padding: " + b"." * 400)
        elif fault != "closes early":
            self._head(200, len(body))
            if fault == "cut short":
                self.wfile.write(body[:5])
            elif fault == "drip":
                self._drip(body)
            else:
                self.plug.ending.wait(HUNG_S)

    def _drip(self, text: bytes) -> None:
        """One byte after the other: no single wait is long."""
        for letter in text:
            self.wfile.write(bytes([letter]))
            if self.plug.ending.wait(0.2):
                return

    def _whole(self, status: int, body: bytes, kind: str = "application/json", location: str = "", encoding: str = "") -> None:
        self._head(status, len(body), kind, location, encoding)
        self.wfile.write(body)

    def _head(self, status: int, length: int, kind: str = "application/json", location: str = "", encoding: str = "") -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(length))
        for name, value in (("Location", location), ("Content-Encoding", encoding)):
            if value:
                self.send_header(name, value)
        self.end_headers()
