"""Voices that are not what they seem: kept by the broker, held back, doubled, twice the same, or not allowed to be heard."""

import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from rig.broker import MosquittoBroker, publisher, say
from rig.figures import figure
from rig.raw_mqtt import RawPublisher
from rig.site import TOPIC, HeaterTable, PlugTable, PrinterTable, SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0
PERMISSIONS = Path("/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    patient: dict[str, Any] = {"grace_s": 8.0, "advise_s": 2.0}
    site = SiteTable(
        printers=(
            simple("anvil", confirm_s=1.0, **patient),
            simple("cinder"),
            simple("dahlia", **patient),
            PrinterTable(name="ember", relays=(PlugTable(name="ember-plug"),), heaters=(HeaterTable(sensors=("glued",)),)),
        )
    )
    with publisher(broker.port) as hand:
        say(hand, f"{TOPIC}/cinder/bed", message(44.0), retain=True)
    with Workshop(tmp_path_factory.mktemp("voices"), site, broker) as shop:
        shop.begin(quiet=("cinder",))
        yield shop


def message(temperature_c: float, target_c: float = 60.0) -> bytes:
    return orjson.dumps({"temperature_c": temperature_c, "target_c": target_c})


def test_a_value_that_the_broker_kept_is_never_fresh(shop: Workshop) -> None:
    """Row F11."""
    stale = shop.event("readings stopped", within_s=5.0, says="cinder/bed")
    heater = shop.heater("cinder")
    assert (heater["temperature_c"], heater["age_s"], heater["live"], heater["readings"]) == (None, None, False, 1)
    assert heater["retained_c"] == 44.0
    assert shop.state("cinder") == "not protected"
    assert shop.loud(stale.sentence).level == "warning"
    assert shop.trips("cinder") == [], "a kept target alone asks for nothing"


def heard(shop: Workshop) -> int:
    """All that came of anvil's bed, the very same again included."""
    bed = shop.heater("anvil")
    return int(bed["readings"]) + int(bed["ignored"])


def test_a_queue_that_was_held_back_satisfies_no_timer(shop: Workshop) -> None:
    """Row F13: 999 readings above the ceiling and a healthy one after them, within a fraction of the ceiling's confirm time."""
    printer = shop.printers["anvil"]
    until(lambda: shop.state("anvil") == "protected")
    printer.quiet = True
    t0 = seconds()
    before = heard(shop)
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    for number in range(1000):
        client.publish(printer.topic, message(HOT_C if number < 999 else 61.5), qos=1)
    client.connect("127.0.0.1", shop.broker.port)
    client.loop_start()
    until(lambda: shop.heater("anvil")["temperature_c"] == 61.5)
    client.disconnect()
    client.loop_stop()
    burst_s = seconds() - t0
    assert heard(shop) - before > 8
    assert "only the newest counts" in shop.loud("readings of bed come in a burst").sentence
    threading.Event().wait(1.5)
    assert shop.trips("anvil") == []
    printer.quiet = False
    figure("F13 1000 held back readings taken in", burst_s)


def test_a_message_that_was_sent_again_is_no_second_word(shop: Workshop) -> None:
    """Row F14: one wild reading, sent five times under one packet id with the duplicate flag."""
    until(lambda: shop.state("dahlia") == "protected")
    before, trips = shop.heater("dahlia")["readings"], shop.trips("dahlia")
    with RawPublisher(shop.broker.port) as raw:
        for again in range(5):
            raw.publish(f"{TOPIC}/dahlia/bed", message(HOT_C), packet_id=7, dup=again > 0)
    until(lambda: shop.heater("dahlia")["readings"] > before + 2)
    threading.Event().wait(1.5)
    assert shop.trips("dahlia") == trips
    assert shop.state("dahlia") == "protected"


def test_a_low_voice_cannot_talk_a_hot_one_away(shop: Workshop) -> None:
    """Threat S01 and row F16: the worst value wins, on one topic and between two sensors."""
    printer = shop.printers["ember"]
    until(lambda: shop.state("ember") == "protected")
    liar = shop.printer("ember", temperature_c=40.0, every_s=0.2)
    t0 = seconds()
    printer.temperature_c = HOT_C
    off_s = shop.off_after_s("ember-plug", t0)
    figure("S01 hot beside a low second voice to power gone", off_s)
    assert off_s < 2.0
    assert [trip.check for trip in shop.trips("ember")] == ["ceiling"]

    liar.stop()
    shop.printers["ember"] = printer
    shop.clear("ember")
    glued = shop.printer("ember", "bed/glued", temperature_c=HOT_C)
    off_s = shop.off_after_s("ember-plug", seconds())
    figure("S01 hot second sensor beside a low first one to power gone", off_s)
    assert [trip.check for trip in shop.trips("ember")] == ["ceiling", "ceiling"]
    glued.stop()


def test_a_high_voice_cuts_and_that_is_accepted(shop: Workshop) -> None:
    """Threat S02: a nuisance, and safe."""
    until(lambda: shop.state("dahlia") == "protected")
    liar = shop.printer("dahlia", temperature_c=HOT_C, every_s=0.2)
    assert shop.off_after_s("dahlia-plug", seconds()) < 2.0
    liar.stop()
    shop.printers["dahlia"].temperature_c = 60.0
    until(lambda: shop.guard.reset("dahlia")["ok"])
    shop.plugs["dahlia-plug"].switch(on=True)


def test_a_kept_cold_value_does_not_allow_a_reset(tmp_path: Path) -> None:
    """Row F12: the guard comes back to a latched printer of which nothing is live."""
    with MosquittoBroker(tmp_path) as broker, Workshop(tmp_path, SiteTable(printers=(simple("anvil"),)), broker) as shop:
        shop.begin()
        until(lambda: shop.state("anvil") == "protected")
        shop.printers["anvil"].temperature_c = HOT_C
        shop.off_after_s("anvil-plug", seconds())
        until(lambda: shop.guard.printer("anvil")["latch"]["verdict"] == "confirmed")
        shop.printers["anvil"].quiet = True
        shop.guard.kill()
        with publisher(broker.port) as hand:
            say(hand, f"{TOPIC}/anvil/bed", message(21.0, 0.0), retain=True)
        shop.begin_guard()
        until(lambda: shop.heater("anvil")["retained_c"] == 21.0)
        until(lambda: shop.guard.printer("anvil")["latch"]["verdict"] == "confirmed")
        reply = shop.guard.reset("anvil", vouched=True)
        assert not reply["ok"]
        assert "bed is not heard since its power went, and how hot it is cannot be told" in reply["error"]
        assert shop.state("anvil") == "tripped"
        assert shop.heater("anvil")["temperature_c"] is None
        assert not shop.plugs["anvil-plug"].on


def test_another_client_with_our_id_is_told_of(tmp_path: Path) -> None:
    """Row F15."""
    with (
        MosquittoBroker(tmp_path) as broker,
        Workshop(tmp_path, SiteTable(printers=(simple("anvil", grace_s=10.0),)), broker) as shop,
    ):
        shop.begin()
        until(lambda: shop.state("anvil") == "protected")
        name = re.findall(r"as (heatwarden-[0-9a-f]{6,}) ", broker.log())[0]
        t0 = seconds()
        with publisher(broker.port, protocol="5", client_id=name):
            event = shop.loud("another client uses our id", within_s=10.0)
        figure("F15 second client with our id to told", event.at.engine_s - t0)
        until(lambda: shop.state("anvil") == "protected", 10)
        assert shop.trips("anvil") == [], "by the age of its readings it was never lost"


def refusing(folder: Path) -> str:
    """A broker whose plugin refuses every subscription."""
    if not PERMISSIONS.exists():
        pytest.skip(f"no permissions plugin at {PERMISSIONS}; it comes with mosquitto")
    allowed = {"publishClientSend": True, "publishClientReceive": True, "subscribe": False, "unsubscribe": True}
    (folder / "permissions.json").write_bytes(orjson.dumps({"defaultACLAccess": allowed, "clients": [], "groups": [], "roles": []}))
    return f"allow_anonymous true\nplugin {PERMISSIONS}\nplugin_opt_config_file {folder / 'permissions.json'}\n"


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_subscription_that_is_refused_is_told_at_once(tmp_path: Path, protocol: str) -> None:
    """Row F17."""
    site = SiteTable(printers=(simple("anvil"),), broker=f'protocol = "{protocol}"\n')
    with MosquittoBroker(tmp_path, refusing(tmp_path)) as broker, Workshop(tmp_path, site, broker) as shop:
        shop.guard.start()
        until(shop.guard.status_if_any)
        t0 = seconds()
        event = shop.loud("subscription refused for millbrook/anvil/bed", within_s=5.0)
        figure(f"F17 answering guard to refusal told (MQTT {protocol})", max(0.0, event.at.engine_s - t0))
        assert event.at.engine_s - t0 < 2.0
        printer = shop.guard.printer("anvil")
        assert printer["state"] == "not protected"
        assert "bed cannot be heard: connection shed is down" in printer["why_not"]


def test_a_broker_that_grants_and_never_delivers_is_stale(tmp_path: Path) -> None:
    """Row F17, as a plain access list has it: the subscription is granted, and nothing comes."""
    (tmp_path / "acl").write_text("topic write #\ntopic read millbrook/plugs/#\n")
    site = SiteTable(printers=(simple("anvil"),))
    with (
        MosquittoBroker(tmp_path, f"allow_anonymous true\nacl_file {tmp_path / 'acl'}\n") as broker,
        Workshop(tmp_path, site, broker) as shop,
    ):
        shop.begin()
        shop.loud("nothing fresh of anvil/bed")
        printer = shop.guard.printer("anvil")
        assert printer["state"] == "not protected"
        assert "bed has not been heard yet, for" in " ".join(printer["why_not"])
