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
from watchdog.fetch.failure import LATE, NoAnswerError
from watchdog.fetch.lookup import Lookup, LookupFailedError
from watchdog.fetch.network import BoundedNetwork, Bounds, OverTimeError
from watchdog.wire.plain_text import printable

LARGEST_ANSWER_BYTES: Final = 65_536
SHOWN: Final = 80
_FIELDS: Final = {
    "User-Agent": "heatwarden",
    "Accept": "*/*",
    "Accept-Encoding": "identity",  # an answer that unpacks to a gigabyte is not even asked for
    "Cache-Control": "no-cache",  # whatever stands between must ask the device itself
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
    """A whole answer. `body` is neither unpacked nor decoded; `moved_to` is where a redirect points to."""

    status: int
    body: bytes
    moved_to: str = ""


class Client:
    """One request at a time, each over a connection of its own: one that was kept may have died unseen.

    With `keep` a connection is kept all the same, for pages that are asked often; where it died, the request goes out once more.
    """

    def __init__(self, now: Callable[[], float], lookup_of: Callable[[str, int], Lookup], *, ca_file: str = "", keep: bool = False) -> None:
        """`now` gives seconds of the engine's clock. `ca_file` empty means the system's authorities."""
        self._bounds = Bounds(now)
        self._network = BoundedNetwork(self._bounds, lookup_of)
        self._ca_file = ca_file
        self._keep = keep
        self._context: ssl.SSLContext | None = None
        self._pool: httpcore2.ConnectionPool | None = None

    def fetch(self, request: Request, until: float, breaker: Breaker) -> Answer:
        """The whole answer, in time. Raises NoAnswerError, or BrokenOffError when `breaker` was used."""
        with self._bounded(until, breaker):
            pool = self._ready(request)
            if not pool.connections:
                return _answer(pool, request)
            self._network.hold_again()
            try:
                return _answer(pool, request)
            except (httpcore2.NetworkError, httpcore2.RemoteProtocolError):
                return _answer(pool, request)  # the device had closed the connection that was kept: that is no failure of it

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
            raise NoAnswerError(*_told(error)) from None  # what stands behind it could show a secret
        finally:
            breaker.close()

    def prepare(self, *, tls: bool) -> None:
        """Load what the first request would have to wait for. Raises NoAnswerError."""
        if tls:
            self._trust()

    def _ready(self, request: Request) -> httpcore2.ConnectionPool:
        if request.url.lower().startswith("https:"):
            self._trust()
        if self._pool is None:
            kept = 1 if self._keep else 0
            self._pool = httpcore2.ConnectionPool(self._context, max_keepalive_connections=kept, network_backend=self._network)
        return self._pool

    def _trust(self) -> ssl.SSLContext:
        """Whom to trust; tried anew for each request until it works."""
        if self._context is None:
            try:
                self._context = ssl.create_default_context(cafile=self._ca_file or None)
            except (OSError, ValueError) as error:
                raise NoAnswerError("authorities", f"ca_file {self._ca_file} cannot be used: {_reason(error)}") from error
            self._pool = None
        return self._context

    def close(self) -> None:
        """Let go of a connection that was kept."""
        if self._pool is not None:
            self._pool.close()


def status_words(answer: Answer) -> str:
    """The status as people know it, and never in the device's own words."""
    phrase = f" {HTTPStatus(answer.status).phrase}" if answer.status in set(HTTPStatus) else ""
    where = f" (to {printable(answer.moved_to.partition('?')[0], SHOWN)}, which is not followed)" if answer.moved_to else ""
    return f"it answers {answer.status}{phrase}{where}"


def _answer(pool: httpcore2.ConnectionPool, request: Request) -> Answer:
    own = {name.lower() for name in request.headers}
    fields = {name: value for name, value in _FIELDS.items() if name.lower() not in own} | dict(request.headers)
    content = request.body.encode() if request.body or request.method != "GET" else None
    body = bytearray()
    with pool.stream(request.method, request.url, headers=list(fields.items()), content=content) as answer:
        heads = {name.decode("latin-1").lower(): value.decode("latin-1").strip() for name, value in answer.headers}
        packed = heads.get("content-encoding", "").lower()
        moved = HTTPStatus.MULTIPLE_CHOICES <= answer.status < HTTPStatus.BAD_REQUEST
        for piece in answer.iter_stream():
            body += piece
            if len(body) > LARGEST_ANSWER_BYTES:
                raise NoAnswerError("too long", f"the answer has more than the {LARGEST_ANSWER_BYTES} bytes allowed")
    if packed not in {"", "identity"}:
        raise NoAnswerError("packed", f"the answer is packed ({printable(packed, SHOWN)}), which was not asked for")
    return Answer(answer.status, bytes(body), heads.get("location", "") if moved else "")


def _told(error: Exception) -> tuple[str, str]:
    """What kind of failure it is, and why there is no answer; looks through what libraries wrap around it."""
    inner: BaseException | None = error
    while inner is not None:
        told = _words(inner)
        if told:
            return told
        inner = inner.__cause__ or inner.__context__
    if isinstance(error, httpcore2.RemoteProtocolError) and str(error).startswith(("Server disconnected", "peer closed")):
        return "closed", "it closed the connection before its answer was whole"
    # Its own words stay out: they show what the device sent, which may be what it was sent.
    return type(error).__name__, f"no sound answer: {'this is no HTTP' if isinstance(error, httpcore2.ProtocolError) else 'it failed'}"


def _words(error: BaseException) -> tuple[str, str] | None:
    if isinstance(error, OverTimeError):
        return LATE, "no whole answer in time"
    if isinstance(error, ssl.SSLCertVerificationError):
        return "certificate", f"certificate refused: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return "tls", f"TLS failed: {error.reason or type(error).__name__}"
    if isinstance(error, LookupFailedError):
        return "name", str(error)
    if isinstance(error, OSError):
        return type(error).__name__, _reason(error)
    return None


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or type(error).__name__
