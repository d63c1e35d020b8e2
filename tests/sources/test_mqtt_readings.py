import resource
import socket
import struct
import threading
from collections.abc import Callable
from typing import Any

import pytest
from rig.broker import MosquittoBroker, overhear, publisher, say, wait_for

from watchdog.core.inputs import Reading, Unusable
from watchdog.sources.mqtt import Presence
from watchdog.wire.feed import Fields
from watchdog.wire.payload import LARGEST_PAYLOAD_BYTES

pytestmark = pytest.mark.rig  # a real broker, and paho waits whole seconds before it connects again

BOTH = pytest.mark.parametrize("protocol", ["5", "3.1.1"])
BED = "millbrook/anvil/bed"


@BOTH
def test_live_and_retained_readings_are_told_apart_row_f11(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any, protocol: str
) -> None:
    with publisher(broker.port) as printer:
        say(printer, BED, b'{"temperature_c": 61.2, "target_c": 60}', qos=1, retain=True)
        hear(heard, broker.port, subscription(), protocol=protocol)
        assert wait_for(lambda: len(heard.readings) == 1)
        say(printer, BED, b'{"temperature_c": 61.3}', retain=True)
        assert wait_for(lambda: len(heard.readings) == 2)
    old, live = heard.readings
    assert (old.printer, old.heater, old.temperature_c, old.target_c, old.retained) == ("anvil", "bed", 61.2, 60.0, True)
    assert (live.temperature_c, live.target_c, live.retained) == (61.3, None, False)


def test_one_message_may_carry_two_heaters_and_the_meter_of_the_printer(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    both = "millbrook/anvil/all"
    fields = Fields(temperature="/tool/now", target="/tool/want", duty=None, power=None)
    source = hear(
        heard,
        broker.port,
        subscription(topic=both),
        subscription(heater="hotend", topic=both, fields=fields, sensor="inner"),
        subscription(heater="", topic=both),
    )
    assert wait_for(heard.linked)
    with publisher(broker.port) as printer:
        say(printer, both, b'{"temperature_c": 61, "power_w": 310, "tool": {"now": 215.5, "want": 215}}')
        assert wait_for(lambda: len(heard.readings) == 3)
    assert [item._replace(at=0.0) for item in heard.readings] == [
        Reading("anvil", "bed", 0.0, 61.0, power_w=310.0),
        Reading("anvil", "hotend", 0.0, 215.5, 215.0, sensor="inner"),
        Reading("anvil", "", 0.0, power_w=310.0),
    ]
    assert (source.counters.messages, source.counters.readings) == (1, 3)


def test_a_message_with_a_bad_temperature_gives_its_target_and_a_word_about_it(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    source = hear(heard, broker.port, subscription(not_readings=(85.0,)))
    assert wait_for(heard.linked)
    with publisher(broker.port) as printer:
        say(printer, BED, b'{"temperature_c": 85, "target_c": 60}')
        assert wait_for(lambda: len(heard.unusable) == 1)
    assert (heard.readings[0].temperature_c, heard.readings[0].target_c) == (None, 60.0)
    assert "no reading" in heard.unusable[0].why
    assert source.counters.flawed == 1


def test_no_payload_stops_the_stream_rows_f23_f28_f29_f35(broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any) -> None:
    torture = [
        b"",
        b"NaN",
        b"1e999",
        b"true",
        b"null",
        b'""',
        b'"210,5"',
        b"[]",
        b'{"bed": 61}',
        b"[" * 60_000,
        b"9" * 5000,
        b"\xff\xfe6\x001\x00",
        b"\xef\xbb\xbf61",
        b"\x1b[2J\r\nforged",
        b"1" * (LARGEST_PAYLOAD_BYTES + 1),
        b"9999",
        b"x" * 1_000_000,
    ]
    source = hear(heard, broker.port, subscription(), protocol="3.1.1")
    assert wait_for(heard.linked)
    with publisher(broker.port) as printer:
        for payload in torture:
            say(printer, BED, payload, qos=1)
        say(printer, BED, b"61.2", qos=1)
        assert wait_for(lambda: len(heard.readings) == 1)
    assert heard.temperatures() == [61.2]
    assert len(heard.unusable) == len(torture) == sum(source.counters.rejected.values())
    assert source.counters.rejected["too large"] == 2
    assert source.counters.rejected["no value"] == 2
    assert source.counters.errors == 0
    assert all(isinstance(item, Unusable) and item.why.isprintable() and len(item.why) < 200 for item in heard.unusable)


def test_a_huge_payload_is_kept_away_by_the_broker_over_mqtt_5_row_f23(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    source = hear(heard, broker.port, subscription())
    assert wait_for(heard.linked)
    with publisher(broker.port) as printer:
        say(printer, BED, b"1" * 100_000)
        say(printer, BED, b"1" * 20_000_000)
        say(printer, BED, b"61.2")
        assert wait_for(lambda: len(heard.readings) == 1)
    assert source.counters.messages == 2
    assert source.counters.rejected["too large"] == 1


def test_an_exception_in_a_handler_is_counted_and_the_next_message_heard_row_f19(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    def fail(reading: Reading | Unusable) -> None:
        if isinstance(reading, Reading) and reading.heater == "bed" and reading.temperature_c in {1.0, 2.0}:
            raise KeyError("a fault\nof the sink")

    heard.before = fail
    source = hear(heard, broker.port, subscription(), subscription(heater="hotend", topic=BED))
    assert wait_for(heard.linked)
    with publisher(broker.port) as printer:
        for payload in (b"1", b"2", b"3"):
            say(printer, BED, payload)
        assert wait_for(lambda: len(heard.readings) == 4)
    assert [(item.heater, item.temperature_c) for item in heard.readings] == [("hotend", 1), ("hotend", 2), ("bed", 3), ("hotend", 3)]
    assert source.counters.errors == 2
    assert source.alive()
    errors = [note for note in heard.notes if "error" in note]
    assert len(errors) == 1, "notes of one kind come once in ten seconds"
    assert "\n" not in errors[0]


def test_presence_speaks_for_sources_that_report_on_change_row_f21(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    presence = Presence(source="anvil", topic="millbrook/anvil/presence", here="here", gone="gone")
    with publisher(broker.port) as printer:
        say(printer, presence.topic, b"here", qos=1, retain=True)
        source = hear(heard, broker.port, subscription(), presences=[presence])
        assert wait_for(lambda: heard.linked() and source.counters.messages == 1)
        assert all(link.alive is None for link in heard.links), "a retained sign of life may be old"
        for payload in (b"here", b"who?", b"gone"):
            say(printer, presence.topic, payload)
        assert wait_for(lambda: source.counters.messages == 4)
    assert [link.alive for link in heard.links if link.alive is not None] == [True, False]
    assert source.counters.strays == 1


def test_the_guards_own_presence_comes_and_goes_and_is_willed(broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any) -> None:
    topic = "heatwarden/millbrook/presence"
    with publisher(broker.port) as watcher:
        presence = overhear(watcher, topic, qos=1)
        source = hear(heard, broker.port, subscription(), presence_topic=topic)
        assert wait_for(lambda: len(presence) == 1)
        sock = source._client.socket()
        sock.shutdown(socket.SHUT_RDWR)
        assert wait_for(lambda: len(presence) == 3, 5.0)
        assert source.stop()
        assert wait_for(lambda: len(presence) == 4)
    assert [word.payload for word in presence] == [b"here", b"gone", b"here", b"gone"]


def scripted_peer(listener: socket.socket, packets: bytes, *, five: bool = False) -> None:
    """Answers one CONNECT and one SUBSCRIBE and then sends `packets`, which no broker at hand would."""
    connection, _ = listener.accept()
    properties = b"\x00" if five else b""
    with connection:
        connection.recv(4096)
        connection.sendall(b"\x20\x03\x00\x00\x00" if five else b"\x20\x02\x00\x00")
        asked = connection.recv(4096)
        granted = asked[2:4] + properties + b"\x00"
        connection.sendall(bytes([0x90, len(granted)]) + granted + packets)
        connection.recv(4096)


def published(flags: int, topic: str, payload: bytes, packet_id: int) -> bytes:
    body = struct.pack("!H", len(topic)) + topic.encode() + struct.pack("!H", packet_id) + payload
    return bytes([0x30 | flags, len(body)]) + body


def test_a_message_sent_again_is_no_new_evidence_row_f14(heard: Any, hear: Any, subscription: Callable[..., Any]) -> None:
    qos_1, dup = 0x02, 0x08
    packets = (
        published(qos_1, BED, b"61", 1)
        + published(qos_1 | dup, BED, b"61", 1)
        + published(qos_1, "other", b"1", 2)
        + published(qos_1, BED, b"62", 3)
    )
    with socket.create_server(("127.0.0.1", 0)) as listener:
        peer = threading.Thread(target=scripted_peer, args=(listener, packets))
        peer.start()
        source = hear(heard, listener.getsockname()[1], subscription(), protocol="3.1.1")
        assert wait_for(lambda: source.counters.messages == 4)
        assert source.stop()
        peer.join(5)
    assert heard.temperatures() == [61.0, 62.0]
    assert (source.counters.duplicates, source.counters.strays) == (1, 1)


def test_a_broker_that_says_so_names_a_session_taken_over_row_f15(heard: Any, hear: Any, subscription: Callable[..., Any]) -> None:
    taken_over = b"\xe0\x02\x8e\x00"
    with socket.create_server(("127.0.0.1", 0)) as listener:
        peer = threading.Thread(target=scripted_peer, args=(listener, taken_over), kwargs={"five": True})
        peer.start()
        source = hear(heard, listener.getsockname()[1], subscription())
        assert wait_for(lambda: [link.why for link in heard.links] == ["", "another client uses our id"])
        assert source.stop()
        peer.join(5)


def test_an_exception_outside_every_callback_does_not_end_the_thread(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = hear(heard, broker.port, subscription())
    assert wait_for(heard.linked)
    whole = source._client.loop_misc

    def broken() -> Any:
        monkeypatch.setattr(source._client, "loop_misc", whole)
        raise RuntimeError("a fault of the library")

    monkeypatch.setattr(source._client, "loop_misc", broken)
    assert wait_for(lambda: not heard.linked())
    assert wait_for(heard.linked)
    assert source.alive()
    assert source.counters.errors == 1


def test_a_flood_of_30_000_messages_leaves_memory_bounded_row_f23(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    source = hear(heard, broker.port, subscription(), subscription("bramble"), protocol="3.1.1")
    assert wait_for(heard.linked)
    payload = b'{"temperature_c": 61.2, "target_c": 60, "duty": 0.4, "power_w": 310}'
    pause = threading.Event()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with publisher(broker.port) as printer:
        for _ in range(300):
            for _ in range(100):
                printer.publish(BED, payload)
            pause.wait(0.01)
        say(printer, "millbrook/bramble/bed", b"45")
        assert wait_for(lambda: any(item.printer == "bramble" for item in heard.readings), 20)
    assert source.counters.messages > 20_000, "QoS 0 may lose a little, not the stream"
    assert len(heard.readings) <= 1000
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown_kb < 50_000


def test_topics_that_let_others_speak_are_refused(heard: Any, hear: Any, subscription: Any) -> None:
    for topic in ("millbrook/+/bed", "#", "$share/a/millbrook/anvil/bed"):
        with pytest.raises(ValueError, match="topic"):
            hear(heard, 1883, subscription(topic=topic))
        with pytest.raises(ValueError, match="topic"):
            hear(heard, 1883, presences=[Presence(source="anvil", topic=topic)])
