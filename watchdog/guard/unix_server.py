"""A server on a Unix socket that does not spin when a client cannot be accepted."""

import socket
import socketserver
import threading
from contextlib import suppress
from typing import Any

PAUSE_S = 0.2
"""A process without a free file descriptor can accept nobody; whoever waits is still there after this."""


class UnixServer(socketserver.ThreadingUnixStreamServer):
    """One thread a client. The socket stays readable while a client waits, so that trying at once would take a whole processor."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, *arguments: Any, **options: Any) -> None:  # noqa: ANN401 - those of the base class
        self._closing = threading.Event()
        super().__init__(*arguments, **options)

    def get_request(self) -> tuple[Any, Any]:
        """The next client. Raises OSError, which the caller takes for a client that went away."""
        try:
            return super().get_request()
        except OSError:
            self._closing.wait(PAUSE_S)
            raise

    def shutdown(self) -> None:
        """Accept no more; returns once that is so."""
        self._closing.set()
        with suppress(OSError):
            self.socket.shutdown(socket.SHUT_RDWR)  # whoever waits for clients wakes up now
        super().shutdown()
