"""Asks a device over HTTP. Load it late, in the thread that asks: nobody else needs to carry an HTTP client.

The client is the one under httpx2. As it stands it follows no redirect, heeds no proxy of the environment and unpacks nothing, and it
takes a network of ours: time limits by the read would let an answer drip on for ever.
"""

import contextlib
import logging
import ssl
from collections.abc import Callable, Iterator, Mapping
from http import HTTPStatus
from typing import Final, NamedTuple

import httpcore2

from watchdog.fetch.breaker import Breaker, BrokenOffError
from watchdog.fetch.lookup import Lookup, LookupFailedError
from watchdog.fetch.network import BoundedNetwork, Bounds, OverTimeError

LARGEST_ANSWER_BYTES: Final = 65_536
_FIELDS: Final = {
    "user-agent": "heatwarden",
    "accept": "*/*",
    "accept-encoding": "identity",  # an answer that unpacks to a gigabyte is not even asked for
    "cache-control": "no-cache",  # whatever stands between must ask the device itself
}

for _name in ("httpcore2", "httpx2"):  # what they tell of each request could show a secret
    logging.getLogger(_name).setLevel(logging.WARNING)


class Request(NamedTuple):
    """One request, ready to go out. Bodies are sent as UTF-8; an empty one is none."""

    method: str
    url: str
    headers: Mapping[str, str]
    body: str = ""


class Answer(NamedTuple):
    """A whole answer. `body` is neither unpacked nor decoded."""

    status: int
    body: bytes


class NoAnswerError(Exception):
    """There is no whole answer; the text says why, and holds nothing of what was sent or received."""


class Client:
    """One request at a time, each over a connection of its own: one that was kept may have died unseen."""

    def __init__(self, now: Callable[[], float], lookup_of: Callable[[str, int], Lookup], *, ca_file: str = "") -> None:
        """`now` gives seconds of the engine's clock. `ca_file` empty means the system's authorities."""
        self._bounds = Bounds(now)
        self._network = BoundedNetwork(self._bounds, lookup_of)
        self._ca_file = ca_file
        self._context: ssl.SSLContext | None = None
        self._pool: httpcore2.ConnectionPool | None = None

    def fetch(self, request: Request, until: float, breaker: Breaker) -> Answer:
        """The whole answer, in time. Raises NoAnswerError, or BrokenOffError when `breaker` was used."""
        with self._bounded(until, breaker):
            return self._answer(request)

    def reach(self, host: str, port: int, until: float, breaker: Breaker, *, tls: bool) -> None:
        """Only see whether the device takes a connection, and with `tls` whether it is who it should be. Raises as `fetch`."""
        with self._bounded(until, breaker):
            stream = self._network.connect_tcp(host, port)
            if tls:
                stream = stream.start_tls(self._trust(), host)
            stream.close()

    @contextlib.contextmanager
    def _bounded(self, until: float, breaker: Breaker) -> Iterator[None]:
        self._bounds.begin(until, breaker)
        try:
            yield
        except NoAnswerError:
            raise
        except Exception as error:  # noqa: BLE001 - whatever goes wrong in there, the device has not answered
            if breaker.broken:
                raise BrokenOffError from None
            raise NoAnswerError(_told(error)) from None  # what stands behind it could show a secret
        finally:
            breaker.close()

    def prepare(self, *, tls: bool) -> None:
        """Load what the first request would have to wait for. Raises NoAnswerError."""
        if tls:
            self._trust()

    def _answer(self, request: Request) -> Answer:
        fields = list((_FIELDS | {name.lower(): value for name, value in request.headers.items()}).items())
        content = request.body.encode() if request.body or request.method != "GET" else None
        body = bytearray()
        with self._ready(request).stream(request.method, request.url, headers=fields, content=content) as answer:
            if _packed(answer.headers):
                raise NoAnswerError("its answer is packed, which was not asked for")
            for piece in answer.iter_stream():
                body += piece
                if len(body) > LARGEST_ANSWER_BYTES:
                    raise NoAnswerError(f"its answer has more than the {LARGEST_ANSWER_BYTES} bytes allowed")
        return Answer(answer.status, bytes(body))

    def _ready(self, request: Request) -> httpcore2.ConnectionPool:
        if request.url.lower().startswith("https:"):
            self._trust()
        if self._pool is None:
            self._pool = httpcore2.ConnectionPool(ssl_context=self._context, max_keepalive_connections=0, network_backend=self._network)
        return self._pool

    def _trust(self) -> ssl.SSLContext:
        """Whom to trust; tried anew for each request until it works."""
        if self._context is None:
            try:
                self._context = ssl.create_default_context(cafile=self._ca_file or None)
            except (OSError, ValueError) as error:
                raise NoAnswerError(f"the authorities in {self._ca_file} cannot be used: {type(error).__name__}") from error
            self._pool = None
        return self._context


def status_words(status: int) -> str:
    """A status as people know it, and never in the device's own words."""
    phrase = f" {HTTPStatus(status).phrase}" if status in set(HTTPStatus) else ""
    moved = ", a redirect, which is not followed" if HTTPStatus.MULTIPLE_CHOICES <= status < HTTPStatus.BAD_REQUEST else ""
    return f"it answers {status}{phrase}{moved}"


def _packed(headers: list[tuple[bytes, bytes]]) -> bool:
    return any(name.lower() == b"content-encoding" and value.strip().lower() not in {b"", b"identity"} for name, value in headers)


def _told(error: Exception) -> str:
    """Why there is no answer; looks through what libraries wrap around it."""
    inner: BaseException | None = error
    while inner is not None:
        words = _words(inner)
        if words:
            return words
        inner = inner.__cause__ or inner.__context__
    return "it does not speak sound HTTP" if isinstance(error, httpcore2.ProtocolError) else f"the request failed: {type(error).__name__}"


def _words(error: BaseException) -> str:
    if isinstance(error, OverTimeError):
        return "no whole answer in time"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is refused: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"TLS failed: {error.reason or type(error).__name__}"
    if isinstance(error, LookupFailedError):
        return str(error)
    if isinstance(error, OSError):
        return error.strerror or type(error).__name__
    return "it closed the connection before its answer was whole" if isinstance(error, httpcore2.RemoteProtocolError) else ""
