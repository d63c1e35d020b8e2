"""Waiting for a socket or for a call from another thread, whichever comes first."""

import contextlib
import select
import socket
from typing import Any


class Waker:
    """A pair of sockets: `wake` in one thread ends `wait` in another. `poll`, because `select` ends at 1,024 files."""

    def __init__(self) -> None:
        """Opens two sockets; `close` them."""
        self._out, self._in = socket.socketpair()
        self._out.setblocking(False)
        self._in.setblocking(False)

    def wake(self) -> None:
        """End the wait, or the next one if there is none just now. A full pair wakes as well."""
        with contextlib.suppress(OSError):
            self._in.send(b"w")

    def wait(self, sock: Any, *, writing: bool, longest_s: float) -> bool:  # noqa: ANN401 - a plain or a TLS socket
        """Wait until `sock` can be read (or written, if `writing`); True when there is something to read."""
        if sock.fileno() < 0:
            return False
        poll = select.poll()
        poll.register(sock, select.POLLIN | (select.POLLOUT if writing else 0))
        poll.register(self._out, select.POLLIN)
        # What TLS has decrypted already is no longer in the kernel, so that poll would not see it.
        pending = bool(getattr(sock, "pending", int)())
        ready = dict(poll.poll(0 if pending else longest_s * 1000))
        if self._out.fileno() in ready:
            with contextlib.suppress(BlockingIOError):
                self._out.recv(4096)
        return pending or bool(ready.get(sock.fileno(), 0) & ~select.POLLOUT)

    def close(self) -> None:
        """Close both ends."""
        self._out.close()
        self._in.close()
