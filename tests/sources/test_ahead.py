"""Reading ahead hears exactly what reading piece by piece hears, however the stream is cut."""

import select
import socket
from collections.abc import Callable, Iterator
from random import Random
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from rig.measuring import packet

from watchdog.sources.ahead import AHEAD_BYTES, ReadsAhead
from watchdog.wire.bounded import CHUNK_BYTES, KEPT_BYTES, BoundedPackets

PING_ANSWER = b"\xd0\x00"


class Hearing(ReadsAhead, BoundedPackets, Client):
    """A client at the near end of a pair of sockets, as if it had connected."""

    def __init__(self) -> None:
        super().__init__(CallbackAPIVersion.VERSION2)
        near, self.far = socket.socketpair()
        near.setblocking(False)
        self._sock: Any = near
        self.heard: list[tuple[str, bytes]] = []
        self.on_message = self._keep

    def _keep(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload)))

    def read_all(self) -> MQTTErrorCode:
        """As paho's loop does it: only while the kernel has something."""
        code = MQTTErrorCode.MQTT_ERR_SUCCESS
        while self._sock is not None and code == MQTTErrorCode.MQTT_ERR_SUCCESS and select.select([self._sock], [], [], 0)[0]:
            code = self.loop_read()
            assert not self._ahead or code != MQTTErrorCode.MQTT_ERR_SUCCESS, "nobody would be told of what is left"
        return code


@pytest.fixture
def hearing() -> Iterator[Hearing]:
    hearing = Hearing()
    near = hearing._sock
    yield hearing
    hearing.far.close()
    near.close()


def sentences(dice: Random, count: int, longest: int) -> list[tuple[str, bytes]]:
    return [(f"anvil/{'bed' * dice.randint(1, 3)}", dice.randbytes(dice.randint(0, longest))) for _ in range(count)]


@pytest.mark.parametrize("longest", [3, 200, 40_000])
def test_every_message_is_heard_once_and_in_order_however_the_stream_is_cut(
    hearing: Hearing, dice: Random, long_count: Callable[[int, int], int], longest: int
) -> None:
    sent: list[tuple[str, bytes]] = []
    for _ in range(long_count(20, 400)):
        some = sentences(dice, dice.randint(1, 12), longest)
        sent += some
        stream = b"".join(packet(topic, payload) + PING_ANSWER * dice.randint(0, 1) for topic, payload in some)
        while stream:
            cut = dice.randint(1, min(len(stream), dice.choice([1, 5, 200, 100_000])) or 1)
            piece, stream = stream[:cut], stream[cut:]
            while piece:
                piece = piece[hearing.far.send(piece) :]
                hearing.read_all()
    assert hearing.heard == sent


def test_many_messages_that_came_together_are_taken_with_one_call(hearing: Hearing) -> None:
    calls: list[int] = []
    receive = BoundedPackets._sock_recv

    def noted(client: BoundedPackets, size: int) -> bytes:
        calls.append(size)
        return receive(client, size)

    hearing.far.sendall(b"".join(packet("anvil/bed", b"%d" % number) for number in range(200)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BoundedPackets, "_sock_recv", noted)
        hearing.loop_read()
    assert [payload for _, payload in hearing.heard] == [b"%d" % number for number in range(200)]
    assert calls == [AHEAD_BYTES]


def test_a_huge_packet_is_still_thrown_away_as_it_comes(hearing: Hearing) -> None:
    body = packet("anvil/bed", bytes(8 * KEPT_BYTES))
    most = 0
    while body:
        body = body[hearing.far.send(body[:CHUNK_BYTES]) :]
        hearing.read_all()
        most = max(most, len(hearing._in_packet["packet"]))
    assert len(hearing.heard) == 1
    assert most <= KEPT_BYTES + 2 * CHUNK_BYTES


def test_what_came_before_the_end_is_heard_and_then_the_end_is_noticed(hearing: Hearing) -> None:
    hearing.far.sendall(packet("anvil/bed", b"61.2") + packet("anvil/bed", b"61.3")[:5])
    hearing.far.close()
    assert hearing.read_all() == MQTTErrorCode.MQTT_ERR_CONN_LOST
    assert hearing.heard == [("anvil/bed", b"61.2")]


def test_a_new_connection_begins_with_nothing_from_the_old_one(hearing: Hearing) -> None:
    hearing.far.sendall(b"\xf0\x00" + packet("anvil/bed", b"61.2"))  # a packet that does not exist
    assert hearing.read_all() != MQTTErrorCode.MQTT_ERR_SUCCESS
    hearing.forget_ahead()
    assert hearing._ahead == b""
    assert hearing.heard == []
