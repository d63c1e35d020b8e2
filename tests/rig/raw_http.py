"""A server that says over a plain or a TLS socket whatever a test has it say, at the pace of the test; and what was said to it."""

import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

Story = Callable[["Talk"], None]


class Talk:
    """One connection: `say` and `pause`; either raises OSError once the test or the other side has ended it."""

    def __init__(self, connection: socket.socket, ending: threading.Event) -> None:
        self._connection, self._ending = connection, ending

    def hear(self) -> bytes:
        """A request up to its empty line; empty when the other side has gone."""
        heard = b""
        while not heard.endswith(b"\r\n\r\n"):
            piece = self._connection.recv(4096)
            if not piece:
                return b""
            heard += piece
        return heard

    def say(self, words: bytes) -> None:
        self._connection.sendall(words)

    def pause(self, seconds: float) -> None:
        if self._ending.wait(seconds):
            raise OSError("the test has ended")


class RawServer:
    """Listens on a free port and tells each connection the same story."""

    def __init__(self, story: Story, *, context: ssl.SSLContext | None = None, host: str = "127.0.0.1") -> None:
        self.story = story
        self._context = context
        self._ending = threading.Event()
        self._listener = socket.create_server((host, 0))
        self.port = int(self._listener.getsockname()[1])
        self._threads: list[threading.Thread] = []
        self._open: list[socket.socket] = []

    @property
    def connections(self) -> int:
        return len(self._open)

    def _listen(self) -> None:
        while not self._ending.is_set():
            with suppress(OSError):
                connection, _ = self._listener.accept()
                self._open.append(connection)
                thread = threading.Thread(target=self._tell, args=(connection,), daemon=True)
                self._threads.append(thread)
                thread.start()

    def _tell(self, connection: socket.socket) -> None:
        with suppress(OSError, ssl.SSLError):
            wrapped = self._context.wrap_socket(connection, server_side=True) if self._context else connection
            with wrapped:
                self.story(Talk(wrapped, self._ending))

    def __enter__(self) -> Self:
        self._threads.append(threading.Thread(target=self._listen, daemon=True))
        self._threads[0].start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._ending.set()
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
            connection.close()
        for thread in self._threads:
            thread.join(5)


def answer(body: bytes, head: str = "200 OK", fields: str = "") -> bytes:
    """A whole answer."""
    return f"HTTP/1.1 {head}\r\nContent-Length: {len(body)}\r\n{fields}\r\n".encode() + body


def always(words: bytes) -> Story:
    """Answers each request with these words."""

    def story(talk: Talk) -> None:
        while talk.hear():
            talk.say(words)

    return story
