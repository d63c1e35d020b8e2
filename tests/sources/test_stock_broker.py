"""A broker as it comes keeps a small message until the one before is acknowledged. Readings must not wait for that."""

import socket
import time
from collections.abc import Callable
from typing import Any

import pytest
from rig.broker import MosquittoBroker, publisher, wait_for

now = time.monotonic  # noqa: TID251 - the tests run in real time

APART_S = 0.005
SLOW_S = 0.015
"""Delayed acknowledgements cost up to 40 ms; a message on loopback takes less than one."""


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_the_first_readings_on_a_new_connection_do_not_wait_for_delayed_acknowledgements(
    broker: MosquittoBroker, hear: Any, heard: Any, subscription: Callable[..., Any], protocol: str
) -> None:
    with publisher(broker.port) as voice:
        sock: Any = voice.socket()
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        assert _slow(voice, hear, heard, broker.port, subscription(), protocol) <= 1


def _slow(voice: Any, hear: Any, heard: Any, port: int, subscription: Any, protocol: str) -> int:
    """How many of the first twenty readings came late."""
    hear(heard, port, subscription, protocol=protocol)
    assert wait_for(heard.linked)
    sent = []
    for number in range(20):
        sent.append(now())
        voice.publish("millbrook/anvil/bed", f"{20 + number / 100}")
        time.sleep(APART_S)  # noqa: TID251 - the pace of a fast source
    assert wait_for(lambda: len(heard.readings) == 20)
    return sum(reading.at - at > SLOW_S for reading, at in zip(heard.readings, sent, strict=True))
