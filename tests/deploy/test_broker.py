"""The broker of compose.yaml, run as it is: who has no password hears nothing, and nobody speaks for another. Threats S01, S04 and S21."""

import threading
from collections.abc import Iterator

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from rig.broker import MosquittoBroker, password_file, publisher, say, wait_for
from rig.units import DEPLOY

pytestmark = pytest.mark.rig

USERS = ("heatwarden", "anvil", "anvil-plug")


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    folder = tmp_path_factory.mktemp("broker")
    config = (DEPLOY / "broker" / "mosquitto.conf").read_text(encoding="utf-8")
    for here, there in (("/run/secrets/broker-passwords", f"{folder}/passwords"), ("/mosquitto/config/acl", f"{folder}/acl")):
        assert here in config
        config = config.replace(here, there)
    own = [line for line in config.splitlines() if line.split()[:1] not in (["listener"], ["persistence"])]
    (folder / "acl").write_text((DEPLOY / "broker" / "acl").read_text(encoding="utf-8"))
    (folder / "passwords").touch()
    for user in USERS:
        password_file(folder / "one", user, f"{user} says")
        with (folder / "passwords").open("a") as all_of_them:
            all_of_them.write((folder / "one").read_text())
    with MosquittoBroker(folder, "\n".join(own) + "\n") as running:
        yield running


def heard(broker: MosquittoBroker, user: str, topic: str, speaker: str, said_on: str) -> bool:
    """Whether `user` hears on `topic` what `speaker` says on `said_on`; a word of the right one follows and must arrive."""
    words: list[bytes] = []
    ear = Client(CallbackAPIVersion.VERSION2)
    ear.username_pw_set(user, f"{user} says")
    ear.on_message = lambda *arguments: words.append(arguments[2].payload)
    subscribed = threading.Event()
    ear.on_subscribe = lambda *_: subscribed.set()
    ear.connect("127.0.0.1", broker.port)
    ear.subscribe([(topic, 1), ("heatwarden/millbrook/presence", 1)])
    ear.loop_start()
    assert subscribed.wait(5)
    with publisher(broker.port, user=speaker, password=f"{speaker} says") as mouth:
        say(mouth, said_on, b"word", qos=1)
    with publisher(broker.port, user="heatwarden", password="heatwarden says") as mouth:
        say(mouth, "heatwarden/millbrook/presence", b"end", qos=1)
    if user == "heatwarden":
        assert wait_for(lambda: b"end" in words)
    else:
        wait_for(lambda: words, 0.5)
    ear.disconnect()
    ear.loop_stop()
    return b"word" in words


def test_nobody_gets_in_without_a_password(broker: MosquittoBroker) -> None:
    with pytest.raises(AssertionError, match="could not connect"), publisher(broker.port):
        pass


def test_a_printer_is_heard_on_its_own_topics_and_on_no_others(broker: MosquittoBroker) -> None:
    assert heard(broker, "heatwarden", "millbrook/anvil/bed", "anvil", "millbrook/anvil/bed")
    assert not heard(broker, "heatwarden", "millbrook/bramble/bed", "anvil", "millbrook/bramble/bed")
    assert not heard(broker, "anvil-plug", "millbrook/plugs/anvil/order", "anvil", "millbrook/plugs/anvil/order")


def test_the_guard_commands_the_plug_and_nobody_else_does(broker: MosquittoBroker) -> None:
    assert heard(broker, "anvil-plug", "millbrook/plugs/anvil/order", "heatwarden", "millbrook/plugs/anvil/order")
    assert not heard(broker, "anvil-plug", "millbrook/plugs/anvil/order", "anvil-plug", "millbrook/plugs/anvil/order")
    assert heard(broker, "heatwarden", "millbrook/plugs/anvil/report", "anvil-plug", "millbrook/plugs/anvil/report")


def test_it_sends_at_once_and_knows_whom_it_serves() -> None:
    lines = (DEPLOY / "broker" / "mosquitto.conf").read_text(encoding="utf-8").splitlines()
    assert {"set_tcp_nodelay true", "allow_anonymous false"} <= set(lines)
