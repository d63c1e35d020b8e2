"""The network under the HTTP client, each step of it bounded by what is left of the whole request's time."""

import contextlib
import socket
import ssl
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import httpcore2

from watchdog.fetch.breaker import Breaker
from watchdog.fetch.lookup import Lookup

LookupOf = Callable[[str, int], Lookup]


class OverTimeError(Exception):
    """The time of the request is used up."""


class Bounds:
    """Of the request under way: the moment at which it ends (seconds of the engine's clock), and what breaks it off."""

    def __init__(self, now: Callable[[], float]) -> None:
        """No time at all until `begin`."""
        self._now = now
        self._until = 0.0
        self.breaker = Breaker()

    def begin(self, until: float, breaker: Breaker) -> None:
        """The next request."""
        self._until, self.breaker = until, breaker

    def left_s(self) -> float:
        """Seconds that are left; raises OverTimeError when there are none."""
        left_s = self._until - self._now()
        if left_s <= 0.0:
            raise OverTimeError
        return left_s


@contextlib.contextmanager
def _told(failure: type[Exception]) -> Iterator[None]:
    """As the client wants to hear of it: it then cleans up behind itself."""
    try:
        yield
    except TimeoutError as error:
        raise OverTimeError from error
    except OSError as error:
        raise failure(str(error)) from error


class BoundedStream(httpcore2.NetworkStream):
    """One connection."""

    def __init__(self, connection: socket.socket, bounds: Bounds, made: Callable[[socket.socket], None]) -> None:
        """Takes the connection over, and tells it to `made`."""
        self._connection, self._bounds, self._made = connection, bounds, made
        made(connection)

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:  # noqa: ARG002 - by the read is too little: drips never end
        """At most `max_bytes`, nothing at the end."""
        with _told(httpcore2.ReadError):
            self._connection.settimeout(self._bounds.left_s())
            return self._connection.recv(max_bytes)

    def write(self, buffer: bytes, timeout: float | None = None) -> None:  # noqa: ARG002 - see read
        """All of it."""
        with _told(httpcore2.WriteError):
            view = memoryview(buffer)
            while view:
                self._connection.settimeout(self._bounds.left_s())
                view = view[self._connection.send(view) :]

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,  # noqa: ARG002 - see read
    ) -> httpcore2.NetworkStream:
        """The same connection, from now on encrypted."""
        with _told(httpcore2.ConnectError):
            try:
                self._connection.settimeout(self._bounds.left_s())
                wrapped = ssl_context.wrap_socket(self._connection, server_hostname=server_hostname)
            except BaseException:
                self.close()
                raise
        return BoundedStream(wrapped, self._bounds, self._made)

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()

    def get_extra_info(self, info: str) -> Any:  # noqa: ANN401 - the client's own
        """What the client asks to know how it is spoken to: whether TLS agreed on a protocol."""
        return self._connection if info == "ssl_object" and isinstance(self._connection, ssl.SSLSocket) else None


class BoundedNetwork(httpcore2.NetworkBackend):
    """Makes connections, the look-up of names included."""

    def __init__(self, bounds: Bounds, lookup_of: LookupOf) -> None:
        """`lookup_of` gives the look-up of a host and port."""
        self._bounds, self._lookup_of = bounds, lookup_of
        self._latest: socket.socket | None = None

    def hold_again(self) -> None:
        """The request under way depends on the connection that was made last. Raises BrokenOffError."""
        if self._latest is not None:
            self._bounds.breaker.hold(self._latest)

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,  # noqa: ARG002 - see BoundedStream.read
        local_address: str | None = None,  # noqa: ARG002 - never asked for
        socket_options: Iterable[Any] | None = None,  # noqa: ARG002 - never asked for
    ) -> httpcore2.NetworkStream:
        """A connection to the first address that takes one; each gets its share of the time."""
        lookup = self._lookup_of(host.strip("[]"), port)
        addresses = lookup.addresses(self._bounds.left_s(), self._bounds.breaker)
        for place, address in enumerate(addresses):
            last = place == len(addresses) - 1
            try:
                return self._connect(address, port, self._bounds.left_s() / (len(addresses) - place))
            except (httpcore2.ConnectError, OverTimeError):
                if last:
                    lookup.doubt()
                    raise
        raise httpcore2.ConnectError("the name has no address")

    def _connect(self, address: str, port: int, within_s: float) -> BoundedStream:
        with _told(httpcore2.ConnectError):
            connection = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_STREAM)
            try:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                connection.settimeout(within_s)
                self._bounds.breaker.hold(connection)
                connection.connect((address, port))
            except BaseException:
                connection.close()
                raise
        return BoundedStream(connection, self._bounds, self._made)

    def _made(self, connection: socket.socket) -> None:
        self._latest = connection
