"""Names to addresses, within a time limit: the system's own look-up has none that a caller could set."""

import ipaddress
import socket
import threading
from collections.abc import Callable

SHARE_FOR_A_KNOWN_NAME = 0.5
"""So much of the time left is spent on a new answer where an old one is at hand; the rest is needed to connect."""


class LookupFailedError(OSError):
    """A name that could not be looked up, and of which no address is known."""


class Lookup:
    """Looks up one name at a time, in a thread of its own that is left alone when it takes too long. Keeps the last answer."""

    def __init__(self, resolve: Callable[[str, int], list[str]] | None = None) -> None:
        self._resolve = resolve or addresses_of
        self._known: dict[tuple[str, int], list[str]] = {}
        self._failure = ""
        self._running: threading.Thread | None = None
        self._done = threading.Event()

    def addresses(self, host: str, port: int, within_s: float) -> list[str]:
        """Numeric addresses of `host`, in the order in which to try them. Raises LookupFailedError."""
        if _is_address(host):
            return [host]
        if self._running is None or self._done.is_set():  # a look-up that still runs is not begun again
            self._done.clear()
            self._running = threading.Thread(target=self._look_up, args=(host, port), name=f"look up {host}", daemon=True)
            self._running.start()
        share = SHARE_FOR_A_KNOWN_NAME if (host, port) in self._known else 1.0
        self._done.wait(max(within_s * share, 0.0))
        known = self._known.get((host, port))
        if known:
            return known
        raise LookupFailedError(self._failure if self._done.is_set() else f"the name {host} was not looked up in time")

    def _look_up(self, host: str, port: int) -> None:
        try:
            self._known[host, port] = self._resolve(host, port)
        except Exception as problem:  # noqa: BLE001 - whatever a resolver does, the one who waits must be told
            self._failure = f"the name {host} cannot be looked up: {getattr(problem, 'strerror', None) or problem}"
        finally:
            self._done.set()


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
