"""Reading a socket in one go. For clients that hear many small messages."""

from typing import Any, Final

from paho.mqtt.enums import MQTTErrorCode

AHEAD_BYTES: Final = 64 * 1024
"""Some hundreds of messages. After so many the client looks at its clock and at what it has to send."""


class ReadsAhead:
    """A part of a paho client, to be named before it among the bases: takes all that has come, and serves its packets from that.

    By itself the client asks the kernel four times a message: is there something, its first byte, its length, its rest.
    """

    _ahead = b""
    _place = 0
    _may_look_ahead = False

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Paho's, until nothing is left of what was taken: nobody would be told of a rest."""
        read = super().loop_read  # type: ignore[misc]  # of the client that this is a part of
        self._may_look_ahead = True
        code: MQTTErrorCode = read(max_packets)
        while self._ahead and code == MQTTErrorCode.MQTT_ERR_SUCCESS:
            code = read(max_packets)
        return code

    def forget_ahead(self) -> None:
        """For a new connection."""
        self._ahead, self._place = b"", 0

    def _sock_recv(self, bufsize: int) -> bytes:
        if not self._ahead:
            receive: Any = super()._sock_recv  # type: ignore[misc]  # as above
            if not self._may_look_ahead:
                received: bytes = receive(bufsize)
                return received
            self._may_look_ahead = False
            self._ahead, self._place = receive(AHEAD_BYTES), 0
        place, self._place = self._place, self._place + bufsize
        served = self._ahead[place : self._place]
        if self._place >= len(self._ahead):
            self.forget_ahead()
        return served
