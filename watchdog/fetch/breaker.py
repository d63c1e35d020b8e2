"""Breaking off a request that is under way, from another thread."""

import contextlib
import os
import socket
import threading
from collections.abc import Callable


class BrokenOffError(Exception):
    """The request was broken off: what came of it says nothing about the device."""


class Breaker:
    """Of one request. Once broken, every step of it ends at once, whichever it is: look-up, connecting, TLS, writing or reading."""

    def __init__(self) -> None:
        """Holds nothing yet."""
        self.broken = False
        self._lock = threading.Lock()
        self._connection: socket.socket | None = None
        self._nudge: Callable[[], None] | None = None

    def break_off(self) -> None:
        """End the request. Never blocks, never raises."""
        with self._lock:
            self.broken = True
            if self._connection is not None:
                with contextlib.suppress(OSError):
                    self._connection.shutdown(socket.SHUT_RDWR)
            nudge = self._nudge
        if nudge is not None:
            nudge()

    def hold(self, connection: socket.socket) -> None:
        """The connection on which the request depends from now on. Raises BrokenOffError when it is too late.

        A second handle is kept: TLS takes the first one over, and would leave an empty shell of it here.
        """
        with self._lock:
            if self.broken:
                raise BrokenOffError
            self._drop()
            with contextlib.suppress(OSError):  # closed already: what is under way will see that for itself
                self._connection = socket.socket(fileno=os.dup(connection.fileno()))

    def wait_with(self, nudge: Callable[[], None] | None) -> None:
        """What ends a wait for something other than the connection; None when that is over. Raises BrokenOffError."""
        with self._lock:
            if self.broken and nudge is not None:
                raise BrokenOffError
            self._nudge = nudge

    def close(self) -> None:
        """The request is over."""
        with self._lock:
            self._drop()

    def _drop(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None
