import os
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.broker import Certificates, MosquittoBroker, free_port, password_file, publisher, say, wait_for

from watchdog.settings.addresses import Broker, Tls

pytestmark = pytest.mark.rig  # a real broker, and paho waits whole seconds before it connects again

BOTH = pytest.mark.parametrize("protocol", ["5", "3.1.1"])
BED = "millbrook/anvil/bed"
PERMISSIONS = Path("/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so")


def permissions(folder: Path, *, subscribe: bool) -> str:
    """A broker whose plugin refuses subscriptions; its plain acl_file accepts them and stays silent."""
    if not PERMISSIONS.exists():
        pytest.skip(f"no permissions plugin at {PERMISSIONS}; it comes with mosquitto")
    allowed = {"publishClientSend": True, "publishClientReceive": True, "subscribe": subscribe, "unsubscribe": True}
    (folder / "permissions.json").write_bytes(orjson.dumps({"defaultACLAccess": allowed, "clients": [], "groups": [], "roles": []}))
    return f"allow_anonymous true\nplugin {PERMISSIONS}\nplugin_opt_config_file {folder / 'permissions.json'}\n"


@BOTH
def test_a_refused_subscription_is_noticed_within_two_seconds_row_f17(
    tmp_path: Path, heard: Any, hear: Any, subscription: Any, protocol: str
) -> None:
    with MosquittoBroker(tmp_path, permissions(tmp_path, subscribe=False)) as broker:
        hear(heard, broker.port, subscription(), protocol=protocol)
        assert wait_for(lambda: f"subscription refused for {BED}" in heard.whys(), 2.0)
        assert not heard.linked()
        assert [link.connected for link in heard.links] == [False], "a refused source was never linked"
        assert any("check its permissions" in note for note in heard.notes)


def test_a_refused_subscription_is_asked_for_again(tmp_path: Path, heard: Any, hear: Any, subscription: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("watchdog.sources.mqtt.RETRY_REFUSED_S", 0.0)
    with MosquittoBroker(tmp_path, permissions(tmp_path, subscribe=False)) as broker:
        source = hear(heard, broker.port, subscription())
        assert wait_for(lambda: "refused" in heard.whys())
        subscribes = broker.log().count("Received SUBSCRIBE")
        source.tend()
        assert wait_for(lambda: broker.log().count("Received SUBSCRIBE") > subscribes)


def test_a_broker_that_grants_but_never_delivers_gives_no_reading_row_f17(tmp_path: Path, heard: Any, hear: Any, subscription: Any) -> None:
    (tmp_path / "acl").write_text("topic write #\ntopic read millbrook/bramble/#\n")
    with MosquittoBroker(tmp_path, f"allow_anonymous true\nacl_file {tmp_path / 'acl'}\n") as broker:
        hear(heard, broker.port, subscription(), subscription("bramble"))
        assert wait_for(heard.linked)
        with publisher(broker.port) as printer:
            say(printer, BED, b"61")
            say(printer, "millbrook/bramble/bed", b"45")
            assert wait_for(lambda: len(heard.readings) == 1)
        assert heard.readings[0].printer == "bramble"


@BOTH
def test_subscriptions_are_made_again_after_a_broker_restart_rows_f04_f18(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any, protocol: str
) -> None:
    source = hear(heard, broker.port, subscription(), protocol=protocol)
    assert wait_for(heard.linked)
    broker.stop(kill=True)
    assert wait_for(lambda: not heard.linked())
    broker.start()
    assert wait_for(heard.linked, 10)
    with publisher(broker.port) as printer:
        say(printer, BED, b"61")
        assert wait_for(lambda: len(heard.readings) == 1)
    assert source.counters.connects == 2
    assert source.connects_last_minute() == 2


def test_a_frozen_broker_costs_the_link_and_a_thawed_one_gives_it_back_row_f05(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any
) -> None:
    where = Broker(host="127.0.0.1", port=broker.port, keepalive_s=1)
    hear(heard, broker.port, subscription(), broker=where)
    assert wait_for(heard.linked)
    broker.freeze()
    assert wait_for(lambda: not heard.linked(), 5)
    broker.thaw()
    assert wait_for(heard.linked, 15)


@BOTH
def test_a_second_client_with_our_id_is_noticed_row_f15(
    broker: MosquittoBroker, heard: Any, hear: Any, subscription: Any, protocol: str
) -> None:
    source = hear(heard, broker.port, subscription(), protocol=protocol)
    assert wait_for(heard.linked)
    with publisher(broker.port, protocol=protocol, client_id=source.client_id):
        assert wait_for(lambda: "another client uses our id" in heard.whys(), 10)
        assert wait_for(lambda: any("another client uses our id" in note for note in heard.notes))


def test_ids_are_random_and_fit_every_broker(heard: Any, hear: Any, subscription: Any) -> None:
    ids = {hear(heard, free_port(), subscription()).client_id for _ in range(3)}
    assert len(ids) == 3
    assert all(len(name) <= 23 and name.startswith("heatwarden-") for name in ids)


def test_a_broker_that_is_not_there_is_reported_once_and_found_later_row_f07(
    tmp_path: Path, heard: Any, hear: Any, subscription: Any
) -> None:
    port = free_port()
    source = hear(heard, port, subscription())
    assert wait_for(lambda: "refused" in heard.whys().lower())
    with MosquittoBroker(tmp_path, port=port):
        assert wait_for(heard.linked, 10)
    assert source.alive()
    assert len([link for link in heard.links if link.connected is False]) <= 2


def test_a_host_name_that_cannot_be_looked_up_does_not_end_the_thread(heard: Any, hear: Any, subscription: Any) -> None:
    for host in ("printers..invalid", "x" * 70 + ".invalid"):
        source = hear(heard, 1883, subscription(), broker=Broker(host=host))
        assert wait_for(lambda: not heard.linked() and heard.whys() != "")
        assert wait_for(source.alive)


@BOTH
def test_the_right_password_is_let_in_and_a_wrong_one_reported(
    tmp_path: Path, heard: Any, hear: Any, subscription: Any, protocol: Any
) -> None:
    password_file(tmp_path / "users", "guard", "correct horse")
    secret = tmp_path / "secret"
    secret.write_text("wrong canary")
    with MosquittoBroker(tmp_path, f"password_file {tmp_path / 'users'}\n") as broker:
        where = Broker(host="127.0.0.1", port=broker.port, protocol=protocol, user="guard", password_file=str(secret))
        hear(heard, 0, subscription(), broker=where)
        assert wait_for(lambda: "refused the connection" in heard.whys())
        assert not heard.linked()
        secret.write_text("correct horse\n")
        assert wait_for(heard.linked, 10), "the password is read again at each connect"
    assert "canary" not in heard.whys() + "".join(heard.notes)


def test_a_password_that_cannot_be_read_is_never_replaced_by_none(
    broker: MosquittoBroker, tmp_path: Path, heard: Any, hear: Any, subscription: Any, monkeypatch: Any
) -> None:
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    for file, credential in ((str(tmp_path / "none"), ""), ("", "broker")):
        heard.links.clear()
        where = Broker(host="127.0.0.1", port=broker.port, user="guard", password_file=file, password_credential=credential)
        hear(heard, 0, subscription(), broker=where)
        assert wait_for(lambda: "password" in heard.whys())
    assert "heatwarden-" not in broker.log()


def test_a_password_may_come_as_a_systemd_credential(tmp_path: Path, heard: Any, hear: Any, subscription: Any, monkeypatch: Any) -> None:
    password_file(tmp_path / "users", "guard", "correct horse")
    (tmp_path / "broker").write_text("correct horse\n")
    monkeypatch.setitem(os.environ, "CREDENTIALS_DIRECTORY", str(tmp_path))
    with MosquittoBroker(tmp_path, f"password_file {tmp_path / 'users'}\n") as broker:
        hear(heard, 0, subscription(), broker=Broker(host="127.0.0.1", port=broker.port, user="guard", password_credential="broker"))
        assert wait_for(heard.linked)


def test_a_verified_broker_is_heard_over_tls(tmp_path: Path, heard: Any, hear: Any, subscription: Any) -> None:
    made = Certificates(tmp_path)
    with MosquittoBroker(tmp_path, made.config) as broker:
        hear(heard, 0, subscription(), broker=Broker(host="127.0.0.1", port=broker.port, tls=Tls(ca_file=str(made.ca))))
        assert wait_for(heard.linked)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # paho leaves a socket behind when a handshake fails
@pytest.mark.parametrize(
    ("certificate", "says"),
    [
        ({"expired": True}, "expired"),
        ({"host": "DNS:elsewhere.invalid"}, "IP address mismatch"),
        ({}, "self-signed certificate in certificate chain"),
    ],
)
def test_a_certificate_that_does_not_hold_is_reported_and_nothing_sent_in_plain_row_f22(
    tmp_path: Path, heard: Any, hear: Any, subscription: Any, certificate: dict[str, Any], says: str
) -> None:
    made = Certificates(tmp_path, **certificate)
    authority = str(made.ca) if certificate else ""
    with MosquittoBroker(tmp_path, made.config) as broker:
        hear(heard, 0, subscription(), broker=Broker(host="127.0.0.1", port=broker.port, tls=Tls(ca_file=authority)))
        assert wait_for(lambda: says in heard.whys()), heard.whys()
        assert not heard.linked()
        assert "heatwarden-" not in broker.log()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_never_falls_back_to_plain(broker: MosquittoBroker, tmp_path: Path, heard: Any, hear: Any, subscription: Any) -> None:
    for tls, says in ((Tls(), ""), (Tls(ca_file=str(tmp_path / "none.pem")), "cannot be used")):
        heard.links.clear()
        hear(heard, 0, subscription(), broker=Broker(host="127.0.0.1", port=broker.port, tls=tls))
        assert wait_for(lambda says=says: heard.links and says in heard.whys()), heard.whys()
        assert not heard.linked()
    assert "New client connected" not in broker.log()
