"""MQTT 3.1.1 by hand, for what no client library would send."""

import socket
import struct
from types import TracebackType
from typing import Self


def _text(text: str) -> bytes:
    return struct.pack(">H", len(text)) + text.encode()


def _packet(first: int, body: bytes) -> bytes:
    length = b""
    left = len(body)
    while True:
        left, seven = divmod(left, 128)
        length += bytes([seven | (0x80 if left else 0)])
        if not left:
            return bytes([first]) + length + body


class RawPublisher:
    """A connection on which the same packet can be sent again and again."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=5)
        self._socket.sendall(_packet(0x10, _text("MQTT") + b"\x04\x02\x00\x3c" + _text("raw")))
        assert self._socket.recv(4, socket.MSG_WAITALL)[3] == 0, "the broker refused the connection"

    def publish(self, topic: str, payload: bytes, *, packet_id: int, dup: bool) -> None:
        """At QoS 1; the acknowledgement is waited for."""
        self._socket.sendall(_packet(0x3A if dup else 0x32, _text(topic) + struct.pack(">H", packet_id) + payload))
        answer = self._socket.recv(4, socket.MSG_WAITALL)
        assert answer[:2] == b"\x40\x02", f"no acknowledgement: {answer!r}"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._socket.close()
