"""A line to a server on which all is kept that was sent along it, byte by byte, one record a connection."""

import socket
import threading
from contextlib import suppress
from types import TracebackType
from typing import Self


class Tap:
    """Listens on a free loopback port and passes all on to `port` and back. `sent` holds what came from the near end."""

    def __init__(self, port: int) -> None:
        self.sent: list[bytearray] = []
        self._to = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._ending = threading.Event()
        self._sockets: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._listen, daemon=True)]

    def _listen(self) -> None:
        while not self._ending.is_set():
            with suppress(OSError):
                near, _ = self._listener.accept()
                far = socket.create_connection(("127.0.0.1", self._to), timeout=5)
                far.settimeout(None)
                self._sockets += [near, far]
                self.sent.append(bytearray())
                for one, other, kept in ((near, far, self.sent[-1]), (far, near, bytearray())):
                    thread = threading.Thread(target=self._pass_on, args=(one, other, kept), daemon=True)
                    self._threads.append(thread)
                    thread.start()

    @staticmethod
    def _pass_on(one: socket.socket, other: socket.socket, kept: bytearray) -> None:
        with suppress(OSError):
            while piece := one.recv(65536):
                kept += piece
                other.sendall(piece)
        with suppress(OSError):
            other.shutdown(socket.SHUT_RDWR)

    def __enter__(self) -> Self:
        self._threads[0].start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for end in self._sockets:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
        for thread in self._threads:
            thread.join(5)
