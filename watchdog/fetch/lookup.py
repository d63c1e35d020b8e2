"""Names to addresses. The system's own look-up has no time limit that a caller could set, so nobody waits for it who need not."""

import ipaddress
import socket
import threading
from collections.abc import Callable

from watchdog.fetch.breaker import Breaker, BrokenOffError

SHARE_FOR_A_DOUBTED_ADDRESS = 0.5
"""So much of the time left is spent on a new answer where the old one did not work; the rest is needed to connect."""


class LookupFailedError(OSError):
    """A name that could not be looked up, and of which no address is known."""


class Lookup:
    """Of one name. The last good answer is given at once and looked up anew behind it, in a thread that is left alone if it hangs."""

    def __init__(self, host: str, port: int, resolve: Callable[[str, int], list[str]] | None = None) -> None:
        """Looks nothing up yet; see `ahead`."""
        self._host, self._port = host, port
        self._resolve = resolve or addresses_of
        self._literal = _is_address(host)
        self._known: list[str] = [host] if self._literal else []
        self._changed = threading.Condition()
        self._running = False
        self._answers = 0
        self._doubted_at: int | None = None
        self._failure = ""

    def ahead(self) -> None:
        """Begin to look it up, unless that is under way. Returns at once."""
        with self._changed:
            if self._literal or self._running:
                return
            self._running = True
        threading.Thread(target=self._look_up, name=f"look up {self._host}", daemon=True).start()

    def addresses(self, within_s: float, breaker: Breaker) -> list[str]:
        """Numeric addresses in the order in which to try them. Raises LookupFailedError or BrokenOffError."""
        if self._literal:
            return self._known
        self.ahead()
        if not self._known:
            self._wait(within_s, breaker)
        elif self._doubted_at is not None:
            self._wait(within_s * SHARE_FOR_A_DOUBTED_ADDRESS, breaker)
        if self._known:
            return self._known
        raise LookupFailedError(self._failure or f"the name {self._host} was not looked up in time")

    def doubt(self) -> None:
        """Nothing answers there: the next request had better wait for a new answer."""
        self._doubted_at = self._answers

    def _wait(self, within_s: float, breaker: Breaker) -> None:
        """Until the look-up under way has ended. Raises BrokenOffError."""
        before = self._answers
        breaker.wait_with(self._nudge)
        try:
            with self._changed:
                self._changed.wait_for(lambda: self._answers > before or not self._running or breaker.broken, within_s)
        finally:
            breaker.wait_with(None)
        if breaker.broken:
            raise BrokenOffError

    def _nudge(self) -> None:
        with self._changed:
            self._changed.notify_all()

    def _look_up(self) -> None:
        found: list[str] = []
        failure = ""
        try:
            found = self._resolve(self._host, self._port)
        except Exception as error:  # noqa: BLE001 - whatever a resolver does, the one who waits must be told
            failure = f"the name {self._host} cannot be looked up: {getattr(error, 'strerror', None) or type(error).__name__}"
        with self._changed:
            self._running = False
            self._answers += 1
            self._failure = failure
            if found:
                self._known, self._doubted_at = found, None
            self._changed.notify_all()


def addresses_of(host: str, port: int) -> list[str]:
    """By the system's resolver. Raises OSError."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return False
    return True
