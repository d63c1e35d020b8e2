"""Messages that hold no reading, and far too many or far too large ones."""

import os
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker, publisher, say
from rig.figures import figure
from rig.site import TOPIC, HeaterTable, PlugTable, PrinterTable, SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

GRACE_S = 3.0
EVERY_S = 0.25
GOOD = b'{"temperature_c": 61.25, "target_c": 60}'
SENTINELS = "not_readings = [-1, 0, 85, 127, 999]\n"

PAYLOADS: dict[str, tuple[bytes, str]] = {
    "nan": (b'{"temperature_c": NaN, "target_c": 60}', "not JSON"),
    "infinity": (b'{"temperature_c": Infinity, "target_c": 60}', "not JSON"),
    "huge": (b'{"temperature_c": 1e999}', ""),
    "true": (b'{"temperature_c": true}', "not a number: true"),
    "null": (b'{"temperature_c": null}', "temperature is null"),
    "nothing": (b"", "the message is empty"),
    "text": (b'{"temperature_c": ""}', "not a number"),
    "comma": (b'{"temperature_c": "210,5"}', "not a number"),
    "array": (b"[]", "not a number: an array"),
    "utf-16": ('{"temperature_c": 61.25}'.encode("utf-16"), "not JSON"),
    "bom": (b"\xef\xbb\xbf" + GOOD, "not JSON"),
    "nested": (b"[" * 60_000, "not JSON"),
    "digits": (b'{"temperature_c": ' + b"9" * 5000 + b"}", ""),
    "moved": (b'{"heaters": {"bed": {"temperature_c": 61.25}}}', "no value at pointers"),
    "too-long": (b'{"temperature_c": 61.25, "padding": "' + b"x" * 70_000 + b'"}', "more than the 65536 allowed"),
    "minus-one": (b'{"temperature_c": -1}', "has no reading"),
    "zero": (b'{"temperature_c": 0}', "has no reading"),
    "power-on": (b'{"temperature_c": 85.0}', "has no reading"),
    "most": (b'{"temperature_c": 127}', "has no reading"),
    "nines": (b'{"temperature_c": 999.0}', "has no reading"),
}
"""What replaces the good readings of one printer, and what must be said of it."""

PARTIAL = b'{"target_c": 60}'
"""A message that is in order, and says nothing of the temperature any more."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    """One printer for each payload, all on one plug; all begin with a good reading and go on with the bad one."""
    plug = PlugTable(name="table-plug", cuts="several")
    heater = HeaterTable(grace_s=GRACE_S, interval_s=EVERY_S, more=SENTINELS)
    site = SiteTable(printers=tuple(PrinterTable(name=name, relays=(plug,), heaters=(heater,)) for name in (*PAYLOADS, "partial")))
    with Workshop(tmp_path_factory.mktemp("values"), site, broker) as shop, publisher(broker.port) as hand:
        shop.begin(quiet=(*PAYLOADS, "partial"))
        for name in (*PAYLOADS, "partial"):
            say(hand, f"{TOPIC}/{name}/bed", GOOD)
        until(lambda: all(printer["state"] == "protected" for printer in shop.guard.status()["printers"]))
        pause = threading.Event()
        ends = seconds() + GRACE_S + 1.5
        while seconds() < ends:
            for name, (payload, _) in PAYLOADS.items():
                hand.publish(f"{TOPIC}/{name}/bed", payload)
            hand.publish(f"{TOPIC}/partial/bed", PARTIAL)
            pause.wait(EVERY_S)
        yield shop


@pytest.mark.parametrize("name", PAYLOADS)
def test_what_is_no_reading_never_refreshes_one(bench: Workshop, name: str) -> None:
    """Rows F23, F28, F29, F31 and F35: loud, stale, and cut by the age of the last good reading."""
    says = PAYLOADS[name][1]
    heater = bench.heater(name)
    assert heater["temperature_c"] == 61.25
    assert heater["target_c"] in {60, None}
    assert heater["unusable"] >= GRACE_S / EVERY_S - 2
    told = bench.events("unusable", name)
    assert len(told) == 1, "told once in a while, not a message at a time"
    assert says in told[0].sentence
    assert bench.guard.log().count(f"{name}: [unusable]") == 1
    shown = bench.warnings(told[0].sentence[:200])
    assert shown or len(bench.guard.status()["guard"]["warnings"]) == 20, "pushed out by younger ones at most"
    (trip,) = bench.trips(name)
    assert (trip.heater, trip.check, trip.kind) == ("bed", "no readings", "missing readings")
    assert trip.numbers["silent_s"] == pytest.approx(GRACE_S, abs=0.01)


def test_messages_that_go_on_without_a_temperature_refresh_none(bench: Workshop) -> None:
    """Row F35: a target that is still sent proves nothing about the heater."""
    (trip,) = bench.trips("partial")
    assert (trip.check, trip.kind) == ("no readings", "missing readings")
    assert trip.numbers["silent_s"] == pytest.approx(GRACE_S, abs=0.01)
    assert any("partial/bed" in event.sentence or "more" in event.sentence for event in bench.events("readings stopped"))


def test_no_payload_was_an_error_of_the_program(bench: Workshop) -> None:
    """Row F29: no exception escapes."""
    assert "Traceback" not in bench.guard.log()
    assert not any("error in" in event.sentence for event in bench.events())
    figure("F28 lag of the guard's loop at its worst, 20 printers failing", bench.guard.status()["guard"]["worst_lag_s"])


@pytest.fixture(scope="module")
def flooded(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    site = SiteTable(printers=(simple("anvil", confirm_s=0.0), simple("bramble", grace_s=20.0)))
    with Workshop(tmp_path_factory.mktemp("flood"), site, broker) as shop:
        yield shop.begin()


def resident_mb(pid: int, key: str = "VmHWM") -> float:
    """What a process takes of memory in MB; VmHWM is the most it ever took."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(key)) / 1024


def trip_in_a_flood(shop: Workshop, command: list[str], lasts_s: int) -> float:
    """10,000 messages a second for so long, and anvil too hot in the middle of it; seconds from hot to power gone."""
    pause = threading.Event()
    with subprocess.Popen([*command, "-l"], stdin=subprocess.PIPE) as flood:
        assert flood.stdin is not None
        began = seconds()
        hot_at, sent = 0.0, 0
        while (elapsed := seconds() - began) < lasts_s:
            if elapsed > lasts_s / 2 and not hot_at:
                hot_at = seconds()
                shop.printers["anvil"].temperature_c = 180.0
            due = int(10_000 * elapsed) - sent
            flood.stdin.write((GOOD + b"\n") * due)
            flood.stdin.flush()
            sent += due
            pause.wait(0.01)
    figure("F23 messages a second in the flood (a count)", sent / (seconds() - began))
    return shop.off_after_s("anvil-plug", hot_at)


def test_huge_payloads_and_a_flood_take_neither_memory_nor_time(
    flooded: Workshop, tmp_path: Path, long_count: Callable[[int, int], int]
) -> None:
    """Row F23: 100 MB, 1 MB and 200 KB in one message, then a flood of small ones."""
    shop, topic = flooded, f"{TOPIC}/bramble/bed"
    until(lambda: shop.state("bramble") == "protected")
    assert shop.guard.process is not None
    before = shop.heater("bramble")["unusable"]
    to = ["mosquitto_pub", "-p", str(shop.broker.port), "-t", topic]
    for size in (100_000_000, 1_000_000, 200_000, 70_000):
        (tmp_path / "payload").write_bytes(os.urandom(1024) * (size // 1024))
        subprocess.run([*to, "-f", str(tmp_path / "payload")], check=True, timeout=30)
    until(lambda: shop.heater("bramble")["unusable"] >= before + 2)
    assert shop.state("anvil") == "protected"

    off_s = trip_in_a_flood(shop, to, long_count(4, 20))
    until(lambda: shop.heater("bramble")["age_s"] < 1.0)
    guard = shop.guard.status()["guard"]
    memory_mb = resident_mb(shop.guard.process.pid)
    figure("F23 hot during the flood to power gone", off_s)
    figure("F23 lag of the guard's loop at its worst", guard["worst_lag_s"])
    figure("F23 most memory of the guard (MB)", memory_mb)
    assert off_s < 2 * EVERY_S + 1.0
    assert guard["worst_lag_s"] < 0.5
    assert memory_mb < 150.0
    shop.loud("readings of bed come in a burst")
    assert [trip.printer for trip in shop.trips("")] == ["anvil"]


@pytest.mark.parametrize("part", ["bed", "echo"])
def test_a_huge_message_takes_no_memory_where_the_broker_cannot_be_told(older: Workshop, tmp_path: Path, part: str) -> None:
    """Row F23 over MQTT 3.1.1, where the guard must take whatever the broker lets through: a reading, and a word of a plug."""
    topic = f"{TOPIC}/juniper/bed" if part == "bed" else older.site.plugs["juniper-plug"].topic("echo")
    until(lambda: older.state("juniper") == "protected")
    assert older.guard.process is not None
    before = older.heater("juniper")["unusable"]
    t0 = seconds()
    (tmp_path / "payload").write_bytes(os.urandom(1000) * 100_000)
    to = ["mosquitto_pub", "-p", str(older.broker.port), "-t", topic, "-f", str(tmp_path / "payload")]
    subprocess.run(to, check=True, timeout=30)
    if part == "bed":
        until(lambda: older.heater("juniper")["unusable"] == before + 1)
        assert "more than the 65536 allowed" in older.loud("a message about bed").sentence
    else:
        older.loud("relay juniper-plug reports: unknown echo")
    memory_mb = resident_mb(older.guard.process.pid)
    figure("F23 most memory of the guard after 100 MB over MQTT 3.1.1 (MB)", memory_mb)
    assert memory_mb < 150.0
    assert not older.events("source lost", since=t0)
    assert older.state("juniper") == "protected"


@pytest.fixture(scope="module")
def older(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    site = SiteTable(printers=(simple("juniper", grace_s=10.0),), broker='protocol = "3.1.1"\n')
    with Workshop(tmp_path_factory.mktemp("older"), site, broker) as shop:
        yield shop.begin()
