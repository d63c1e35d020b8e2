"""What a message may take of memory while it comes in. For clients of MQTT 3.1.1, which cannot tell their broker."""

from typing import Any, Final

CHUNK_BYTES: Final = 64 * 1024
KEPT_BYTES: Final = 256 * 1024
"""More than any topic and payload that is ever used; so much of a larger packet is kept for the decoder to see that it is too large."""


class BoundedPackets:
    """A part of a paho client, to be named before it among the bases: the rest of a huge packet is read and thrown away.

    Without it one message of 100 MB, from whoever may publish at all, takes 360 MB, and the memory limit of the service takes the
    guard. The connection stays: whoever could end it with one message could keep it down.
    """

    _in_packet: Any

    def _sock_recv(self, bufsize: int) -> bytes:
        """Paho's way to read: `bufsize` is all that is still missing of a packet."""
        if bufsize > CHUNK_BYTES:
            del self._in_packet["packet"][KEPT_BYTES:]
            bufsize = CHUNK_BYTES
        received: bytes = super()._sock_recv(bufsize)  # type: ignore[misc]  # of the client that this is a part of
        return received
