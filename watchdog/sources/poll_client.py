"""Asks one page over HTTP. Loaded by the thread that polls: a guard without pages need not carry an HTTP client.

The client under httpx2 is used as it is: it follows no redirect, heeds no proxy from the environment and decodes nothing, and its
network can be put under a time limit for the whole of a request. Time limits by the read would let a dripping answer go on for ever.
"""

import socket
import ssl
from collections.abc import Callable, Iterable
from contextlib import suppress
from http import HTTPStatus
from typing import Any, Final

import httpcore2

from watchdog.settings.addresses import Page
from watchdog.sources.poll_lookup import Lookup, LookupFailedError
from watchdog.sources.poll_secret import NoAnswerError, secret_of
from watchdog.wire.payload import LARGEST_PAYLOAD_BYTES
from watchdog.wire.plain_text import printable

SHOWN: Final = 80
_BROKEN: Final = (httpcore2.NetworkError, httpcore2.RemoteProtocolError)
_FIELDS: Final = {
    "User-Agent": "heatwarden",
    "Accept": "application/json, text/plain;q=0.9, */*;q=0.1",
    "Accept-Encoding": "identity",  # an answer that unpacks to a gigabyte cannot be asked for
    "Cache-Control": "no-cache",  # whatever stands between must ask the device itself
}


class Limit:
    """The moment until which the request under way may last."""

    def __init__(self, now: Callable[[], float]) -> None:
        self._now = now
        self.until = 0.0

    def left_s(self, failure: type[Exception] = httpcore2.ReadTimeout) -> float:
        """Seconds that are left; raises `failure` when there are none."""
        left_s = self.until - self._now()
        if left_s <= 0.0:
            raise failure
        return left_s


class LimitedStream(httpcore2.NetworkStream):
    """A connection of which every step ends within what is left of the request's time."""

    def __init__(self, stream: httpcore2.NetworkStream, limit: Limit) -> None:
        self._stream, self._limit = stream, limit

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        del timeout
        return self._stream.read(max_bytes, self._limit.left_s())

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        del timeout
        self._stream.write(buffer, self._limit.left_s(httpcore2.WriteTimeout))

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore2.NetworkStream:
        del timeout
        left_s = self._limit.left_s(httpcore2.ConnectTimeout)
        return LimitedStream(self._stream.start_tls(ssl_context, server_hostname, left_s), self._limit)

    def close(self) -> None:
        self._stream.close()

    def get_extra_info(self, info: str) -> Any:  # noqa: ANN401 - the library's own
        return self._stream.get_extra_info(info)


class LimitedNetwork(httpcore2.NetworkBackend):
    """Connects within what is left of the request's time, the look-up of the name included."""

    def __init__(self, limit: Limit, lookup: Lookup) -> None:
        self._limit, self._lookup = limit, lookup
        self._network = httpcore2.SyncBackend()
        self.stream: httpcore2.NetworkStream | None = None

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore2.NetworkStream:
        del timeout
        connect_timeout = httpcore2.ConnectTimeout
        addresses = self._lookup.addresses(host.strip("[]"), port, self._limit.left_s(connect_timeout))
        for place, address in enumerate(addresses):
            share_s = self._limit.left_s(connect_timeout) / (len(addresses) - place)
            try:
                stream = self._network.connect_tcp(address, port, share_s, local_address, socket_options)
            except (httpcore2.ConnectError, connect_timeout):
                if place == len(addresses) - 1:
                    raise
            else:
                self.stream = LimitedStream(stream, self._limit)
                return self.stream
        raise httpcore2.ConnectError("the name has no address")


class PageClient:
    """Asks one page. One request at a time; the connection is kept for the next one."""

    def __init__(self, page: Page, now: Callable[[], float], lookup: Lookup | None = None) -> None:
        """Raises NoAnswerError when the authorities cannot be read."""
        self._page, self._now = page, now
        self._limit = Limit(now)
        self._network = LimitedNetwork(self._limit, lookup or Lookup())
        try:
            context = ssl.create_default_context(cafile=page.ca_file or None) if page.url.startswith("https:") else None
        except (OSError, ValueError) as problem:
            raise NoAnswerError("authorities", f"ca_file {page.ca_file} cannot be used: {problem}") from problem
        self._pool = httpcore2.ConnectionPool(ssl_context=context, max_connections=1, network_backend=self._network)

    def ask(self) -> bytes:
        """The body of one answer that is 200, whole, in time, plain and not too long. Raises NoAnswerError for any other."""
        secret = secret_of(self._page)
        fields = _FIELDS | ({self._page.header: secret} if secret else {})
        self._limit.until = self._now() + self._page.time_limit_s
        kept = bool(self._pool.connections)
        try:
            try:
                return self._body(fields)
            except _BROKEN:
                if not kept:
                    raise
                return self._body(fields)  # the device had closed the connection that was kept: that is no failure of it
        except NoAnswerError:
            raise
        except httpcore2.TimeoutException as problem:
            raise NoAnswerError("late", f"no whole answer within {self._page.time_limit_s:g} s") from problem
        except Exception as problem:
            raise NoAnswerError(*_told(problem)) from problem

    def _body(self, fields: dict[str, str]) -> bytes:
        body = bytearray()
        with self._pool.stream("GET", self._page.url, headers=list(fields.items())) as answer:
            _judge_head(answer.status, {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in answer.headers})
            for piece in answer.iter_stream():
                body += piece
                if len(body) > LARGEST_PAYLOAD_BYTES:
                    raise NoAnswerError("too long", f"the answer has more than the {LARGEST_PAYLOAD_BYTES} bytes allowed")
                self._limit.left_s()
        return bytes(body)

    def interrupt(self) -> None:
        """Let the request under way fail at once; from any thread."""
        stream = self._network.stream
        if stream is not None:
            with suppress(OSError, AttributeError):
                stream.get_extra_info("socket").shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Let go of the connection."""
        self._pool.close()


def _judge_head(status: int, fields: dict[str, str]) -> None:
    if status != HTTPStatus.OK:
        phrase = f" {HTTPStatus(status).phrase}" if status in set(HTTPStatus) else ""
        moved = HTTPStatus.MULTIPLE_CHOICES <= status < HTTPStatus.BAD_REQUEST and fields.get("location")
        where = f" (to {printable(fields['location'].partition('?')[0], SHOWN)}, which is not followed)" if moved else ""
        raise NoAnswerError(f"status {status}", f"it answers {status}{phrase}{where}")
    packed = fields.get("content-encoding", "identity").strip().lower()
    if packed not in {"", "identity"}:
        raise NoAnswerError("packed", f"the answer is packed ({printable(packed, SHOWN)}), which was not asked for")


def _told(problem: Exception) -> tuple[str, str]:
    """What kind of failure it is, and why there is no answer, in words; looks through what the libraries wrap around it."""
    inner: BaseException | None = problem
    while inner is not None:
        if isinstance(inner, ssl.SSLCertVerificationError):
            return "certificate", f"certificate refused: {inner.verify_message}"
        if isinstance(inner, ssl.SSLError):
            return "tls", f"TLS failed: {inner.reason or inner}"
        if isinstance(inner, LookupFailedError):
            return "name", str(inner)
        if isinstance(inner, OSError) and (inner.strerror or str(inner)):
            return type(inner).__name__, inner.strerror or str(inner)
        inner = inner.__cause__ or inner.__context__
    return type(problem).__name__, printable(f"no sound answer: {problem}", SHOWN)
