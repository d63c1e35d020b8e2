"""What the service manager is told, over the socket that it names in $NOTIFY_SOCKET."""

import contextlib
import socket

from systemd_watchdog.systemd_watchdog import WatchDog

SEND_WITHIN_S = 1.0


class ServiceManager:
    """Tells how the guard is. Never raises, and waits a second at most.

    The library's own `ping` goes by the wall clock, which may be set back by hours; so when to ping is decided elsewhere.
    """

    def __init__(self) -> None:
        self._sender = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
        self._sender.settimeout(SEND_WITHIN_S)
        self._line = _Line(sock=self._sender)
        longest_s = self._line.timeout_td.total_seconds()
        self.watchdog_s = 0.0 if self._line.timeout_td == _Line._default_timeout else longest_s  # noqa: SLF001 - its word for "none"
        """The guard is taken for dead after so many seconds without a ping; 0 when nobody waits for one."""

    def ready(self) -> None:
        """The guard is armed."""
        with contextlib.suppress(OSError):
            self._line.ready()

    def status(self, text: str) -> None:
        """One line for people."""
        with contextlib.suppress(OSError):
            self._line.status(" ".join(text.split()))

    def alive(self) -> None:
        """A ping."""
        with contextlib.suppress(OSError):
            self._line.notify()

    def stopping(self) -> None:
        """The guard was told to stop."""
        with contextlib.suppress(OSError):
            self._line.stopping()

    def close(self) -> None:
        """Nothing more to tell."""
        self._sender.close()


class _Line(WatchDog):
    def stopping(self) -> None:
        """What the library has no word for."""
        self._send("STOPPING=1\n")
