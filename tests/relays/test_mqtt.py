"""A plug on a real broker: what is sent, what counts as sent, and what is believed of its answers."""

import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.broker import Certificates, overhear, password_file, publisher, wait_for
from rig.broker import say as tell
from rig.plug import Habits, Plug, read_truth

from watchdog.core.inputs import RelayReport
from watchdog.core.values import Json, JsonObject
from watchdog.relays.driver import Driver

pytestmark = pytest.mark.rig  # real processes, brokers and disks, in real seconds

Drive = Callable[..., Driver]
ECHO: JsonObject = {"topic": "plug/state"}
METER: JsonObject = {"topic": "plug/power", "pointer": "/power_w"}
PRESENCE: JsonObject = {"topic": "plug/presence"}


def relay(broker: JsonObject, **parts: Json) -> JsonObject:
    return {"kind": "mqtt", "broker": broker, "order": {"topic": "plug/set"}, **parts}


def answered(order: int) -> Callable[[RelayReport], bool]:
    return lambda report: report.sent is not None and report.order == order


def reachable(report: RelayReport) -> bool:
    return report.reachable is True


def unreachable(report: RelayReport) -> bool:
    return report.reachable is False


def say(port: int, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
    with publisher(port) as client:
        tell(client, topic, payload, qos=1, retain=retain)


@pytest.fixture(params=["5", "3.1.1"])
def protocol(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_off_arrives_is_acknowledged_and_echoed(mosquitto: Any, drive: Drive, reports: Any, protocol: str) -> None:
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port)) as plug:
        driver = drive(relay(mosquitto.address(protocol=protocol), echo=ECHO))
        reports.wait(reachable)
        before = time.monotonic_ns() / 1e9
        driver.off(41)
        sent = reports.wait(answered(41))
        echo = reports.wait(lambda report: report.state == "off")
        assert sent.sent is True
        assert echo.at > before
        assert not echo.retained
        assert [(payload, retain) for _, payload, retain in plug.heard] == [(b"off", False)]
        cut_at_ns = plug.off_at_ns()
        assert cut_at_ns is not None
        assert 0 < cut_at_ns / 1e9 - before < 0.5


def test_a_kept_echo_is_marked_as_retained(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port, on=False)):
        drive(relay(mosquitto.address(), echo=ECHO))
        assert reports.wait(lambda report: report.state == "off").retained


def test_nothing_that_is_sent_is_kept_by_the_broker(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    driver = drive(relay(mosquitto.address()))
    reports.wait(reachable)
    driver.off(1)
    assert reports.wait(answered(1)).sent is True
    listing = ["mosquitto_sub", "-p", str(mosquitto.port), "-t", "#", "--retained-only", "-W", "1", "-v"]
    assert subprocess.run(listing, capture_output=True, check=False).stdout == b""


def test_without_a_broker_an_order_fails_at_once_and_is_not_kept_for_later(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    driver = drive(relay(mosquitto.address(), echo=ECHO))
    reports.wait(reachable)
    mosquitto.stop(kill=True)
    gone = reports.wait(unreachable)
    assert f"broker 127.0.0.1:{mosquitto.port}" in gone.why
    started = time.monotonic_ns()
    driver.off(8)
    report = reports.wait(answered(8), within_s=0.2)
    assert (time.monotonic_ns() - started) / 1e9 < 0.2
    assert report.sent is False
    assert report.why.startswith("not connected to broker")
    since = len(reports.all)
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port)) as plug:
        reports.wait(reachable, since=since)
        driver.off(9)
        reports.wait(answered(9), since=since)
        reports.wait(lambda report: report.state == "off", since=since)
        assert [payload for _, payload, _ in plug.heard] == [b"off"], "the order from before the break must not arrive"


def test_an_order_that_a_frozen_broker_never_took_fails_and_is_not_sent_again(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    driver = drive(relay(mosquitto.address(), echo=ECHO))
    reports.wait(reachable)
    mosquitto.freeze()
    driver.off(3)
    mosquitto.process.kill()
    mosquitto.stop()
    report = reports.wait(answered(3))
    assert report.sent is False
    assert report.why.endswith("before the command was acknowledged")
    since = len(reports.all)
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port)) as plug:
        reports.wait(reachable, since=since)
        driver.off(4)
        reports.wait(answered(4), since=since)
        reports.wait(lambda report: report.state == "off", since=since)
        assert len(plug.heard) == 1


def test_a_guard_that_starts_before_the_broker_says_so_and_connects_later(mosquitto: Any, drive: Drive, reports: Any) -> None:
    driver = drive(relay(mosquitto.address()))
    assert reports.wait(unreachable).why.endswith("Connection refused")
    driver.off(1)
    assert reports.wait(answered(1)).why.startswith("not connected to broker")
    mosquitto.start()
    reports.wait(reachable)


def test_a_publish_that_is_not_authorised_has_not_been_sent(mosquitto: Any, drive: Drive, reports: Any) -> None:
    (mosquitto.folder / "acl").write_text("topic read #\n")
    mosquitto.start("allow_anonymous true", f"acl_file {mosquitto.folder}/acl")
    driver = drive(relay(mosquitto.address(), echo=ECHO))
    reports.wait(reachable)
    driver.off(2)
    report = reports.wait(answered(2))
    assert report.sent is False
    assert report.why.endswith("refused the command: Not authorized")


def test_a_refused_subscription_makes_the_relay_unreachable(mosquitto: Any, drive: Drive, reports: Any, protocol: str) -> None:
    dynamic_security(mosquitto, allowed="plug/set")
    drive(relay(mosquitto.address(protocol=protocol), echo=ECHO))
    report = reports.wait(unreachable)
    assert report.why.startswith("subscription to plug/state refused: ")
    assert not any(reachable(one) for one in reports.all)


def test_a_command_topic_that_may_only_be_written_is_no_harm(mosquitto: Any, drive: Drive, reports: Any) -> None:
    dynamic_security(mosquitto, allowed="plug/state")
    driver = drive(relay(mosquitto.address(), echo=ECHO))
    reports.wait(reachable)
    assert any(report.why.startswith("the command topic cannot be watched") for report in reports.all)
    driver.off(1)
    assert reports.wait(answered(1)).sent is True


def dynamic_security(mosquitto: Any, *, allowed: str) -> None:
    """A broker that lets anyone publish and receive, but subscribe to one topic only."""
    acl = [{"acltype": kind, "topic": "#", "priority": 0, "allow": True} for kind in ("publishClientSend", "publishClientReceive")] + [
        {"acltype": "subscribePattern", "topic": allowed, "priority": 0, "allow": True}
    ]
    (mosquitto.folder / "security.json").write_bytes(
        orjson.dumps(
            {
                "defaultACLAccess": {
                    "publishClientSend": False,
                    "publishClientReceive": False,
                    "subscribe": False,
                    "unsubscribe": True,
                },
                "roles": [{"rolename": "guest", "acls": acl}],
                "groups": [{"groupname": "guests", "roles": [{"rolename": "guest"}]}],
                "anonymousGroup": "guests",
            }
        )
    )
    mosquitto.start(
        "allow_anonymous true",
        "plugin /usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so",
        f"plugin_opt_config_file {mosquitto.folder}/security.json",
    )


def test_a_retained_command_is_found_at_the_start(mosquitto: Any, drive: Drive, reports: Any, protocol: str) -> None:
    """Row F70."""
    mosquitto.start()
    say(mosquitto.port, "plug/set", "on", retain=True)
    drive(relay(mosquitto.address(protocol=protocol), echo=ECHO))
    report = reports.wait(lambda report: report.why.startswith("retained command found"))
    assert report.retained
    assert "'on'" in report.why
    assert report.state is None


@pytest.mark.parametrize("parts", [{"presence": PRESENCE}, {}])
def test_a_foreign_command_is_noticed_and_our_own_is_not(
    mosquitto: Any, drive: Drive, reports: Any, protocol: str, parts: JsonObject
) -> None:
    """Row F69. Without presence MQTT 5 watches for a short while only; the visitor comes at once."""
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port, presence_topic="plug/presence")):
        driver = drive(relay(mosquitto.address(protocol=protocol), **parts))
        reports.wait(reachable)
        driver.off(1)
        reports.wait(answered(1))
        say(mosquitto.port, "plug/set", "on\n\x1b[2J")
        report = reports.wait(lambda report: report.why.startswith("foreign command seen"))
        assert report.why == r"foreign command seen on plug/set: 'on\n\x1b[2J'"
        assert len([one for one in reports.all if "command seen" in one.why]) == 1


def test_when_nobody_listens_the_order_is_sent_but_the_relay_is_not_reachable(
    mosquitto: Any, drive: Drive, reports: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchdog.relays.mqtt.LOOK_S", 0.0)
    mosquitto.start()
    driver = drive(relay(mosquitto.address()))
    reports.wait(reachable)
    report = until_nobody_listens(driver, reports)
    assert report.why == "nobody listens on the command topic"
    since = len(reports.all)
    with Plug(Habits(port=mosquitto.port)):
        driver.off(99)
        assert reports.wait(answered(99)).sent is True
        reports.wait(reachable, since=since)


def until_nobody_listens(driver: Driver, reports: Any) -> RelayReport:
    """The look at the command topic ends at the link's next round, one second away at most."""
    for order in range(1, 40):
        driver.off(order)
        assert reports.wait(answered(order)).sent is True
        time.sleep(0.1)  # noqa: TID251 - a test polls
        for report in reports.all:
            if unreachable(report):
                found: RelayReport = report
                return found
    raise AssertionError("the look never ended")


def test_presence_and_last_will_decide_whether_it_is_there(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    drive(relay(mosquitto.address(), presence=PRESENCE))
    plug = Plug(Habits(port=mosquitto.port, presence_topic="plug/presence"))
    plug.start()
    reports.wait(reachable)
    plug.vanish()
    gone = reports.wait(unreachable)
    assert gone.why == "the relay's presence says that it is gone"
    plug.stop()
    assert reports.all[0].reachable, "before its presence spoke, nothing was known"


def test_a_live_echo_says_that_it_is_back_before_its_presence_does(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    say(mosquitto.port, "plug/presence", "gone", retain=True)
    drive(relay(mosquitto.address(), presence=PRESENCE, echo=ECHO))
    assert reports.wait(unreachable).retained
    say(mosquitto.port, "plug/state", "on")
    reports.wait(reachable)


def test_the_meter_is_read_strictly(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    drive(relay(mosquitto.address(), meter=METER))
    reports.wait(reachable)
    bad = [b'{"power_w": "0"}', b'{"power_w": true}', b'{"power_w": null}', b'{"power_w": NaN}', b'{"power_w": 1e999}', b"[", b"{}"]
    for payload in [*bad, b'{"power_w": -300.0}', b"\xff\xfe", b"[" * 60_000, b'{"power_w": 1.25}']:
        say(mosquitto.port, "plug/power", payload)
    report = reports.wait(lambda report: report.power_w is not None)
    assert report.power_w == 1.25
    assert not report.retained
    unknown = [report for report in reports.all if report.why.startswith("unknown meter")]
    assert len(unknown) == 1, "counted each time, said once in a while"


def test_the_truth_of_a_welded_contact_shows_at_the_meter_only(mosquitto: Any, drive: Drive, reports: Any) -> None:
    """Rows F65 and F66."""
    mosquitto.start()
    habits = Habits(port=mosquitto.port, lie="welded", meter_topic="plug/power", meter_every_s=0.05)
    with Plug(habits) as plug:
        driver = drive(relay(mosquitto.address(), echo=ECHO, meter=METER))
        reports.wait(reachable)
        driver.off(1)
        reports.wait(lambda report: report.state == "off" and not report.retained)
        since = len(reports.all)
        assert reports.wait(lambda report: report.power_w is not None, since=since).power_w == 310.0
        assert plug.on
        assert plug.off_at_ns() is None


def test_a_silent_plug_gives_no_echo_although_it_cut(mosquitto: Any, drive: Drive, reports: Any, eventually: Callable[..., None]) -> None:
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port, lie="silent")) as plug:
        driver = drive(relay(mosquitto.address(), echo=ECHO))
        reports.wait(reachable)
        driver.off(1)
        assert reports.wait(answered(1)).sent is True
        eventually(lambda: not plug.on)
        assert not any(report.state for report in reports.all)


def test_power_that_comes_back_alone_is_reported(mosquitto: Any, drive: Drive, reports: Any) -> None:
    """Rows F68 and F75."""
    mosquitto.start()
    with Plug(Habits(port=mosquitto.port, back_on_after_s=0.2)) as plug:
        driver = drive(relay(mosquitto.address(), echo=ECHO))
        reports.wait(reachable)
        driver.off(1)
        reports.wait(lambda report: report.state == "off")
        since = len(reports.all)
        reports.wait(lambda report: report.state == "on" and not report.retained, since=since)
        assert [entry.on for entry in plug.truth] == [True, False, True]


def test_an_unknown_echo_is_no_state(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    drive(relay(mosquitto.address(), echo={"topic": "plug/state", "on": "ON", "off": "OFF"}))
    reports.wait(reachable)
    say(mosquitto.port, "plug/state", "off")
    report = reports.wait(lambda report: report.why.startswith("unknown echo"))
    assert (report.state, report.why) == (None, "unknown echo 'off'")
    say(mosquitto.port, "plug/state", " OFF\n")
    reports.wait(lambda report: report.state == "off")


def test_one_json_message_may_carry_echo_and_power(mosquitto: Any, drive: Drive, reports: Any) -> None:
    mosquitto.start()
    echo: JsonObject = {"topic": "plug/all", "pointer": "/outlets/0/closed", "on": "true", "off": "false"}
    drive(relay(mosquitto.address(), echo=echo, meter={"topic": "plug/all", "pointer": "/outlets/0/w"}))
    reports.wait(reachable)
    say(mosquitto.port, "plug/all", b'{"outlets": [{"closed": false, "w": 0}]}')
    reports.wait(lambda report: report.state == "off")
    assert reports.wait(lambda report: report.power_w is not None).power_w == 0.0


def test_all_relays_of_a_broker_share_one_connection(mosquitto: Any, drive: Drive, reports: Any, links: Any) -> None:
    mosquitto.start()
    drivers = []
    for number in range(60):
        address = relay(mosquitto.address()) | {"order": {"topic": f"plug/{number}/set"}}
        drivers.append(drive(address, name=f"plug-{number}"))
    assert len(links.all()) == 1
    with publisher(mosquitto.port) as client:
        heard = overhear(client, "plug/+/set", qos=1)
        for number in range(60):
            reports.wait(lambda report, name=f"plug-{number}": report.relay == name and report.reachable)
        for number, driver in enumerate(drivers):
            driver.off(number + 1)
        for number in range(60):
            assert reports.wait(answered(number + 1)).sent is True
        assert wait_for(lambda: len(heard) >= 60)  # acknowledged by the broker is not yet heard by another client
        assert sorted(message.topic for message in heard) == sorted(f"plug/{number}/set" for number in range(60))
    assert links.all()[0].errors == 0


def test_the_command_connection_neither_dawdles_nor_waits_for_a_dead_line(mosquitto: Any, drive: Drive, reports: Any, links: Any) -> None:
    mosquitto.start()
    drive(relay(mosquitto.address()))
    reports.wait(reachable)
    sock = links.all()[0]._client.socket()
    assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 4000


def test_a_relay_that_stops_leaves_the_others_connected(mosquitto: Any, drive: Drive, reports: Any, links: Any) -> None:
    mosquitto.start()
    first = drive(relay(mosquitto.address()), name="first")
    second = drive(relay(mosquitto.address(), echo=ECHO), name="second")
    reports.wait(lambda report: report.relay == "second" and report.reachable)
    first.stop()
    assert len(links.all()) == 1
    second.off(1)
    assert reports.wait(answered(1)).sent is True
    first.off(2)
    assert reports.wait(answered(2)).why.startswith("not connected to broker")


def test_an_exception_in_a_callback_does_not_end_the_listening(
    mosquitto: Any,
    drive: Drive,
    reports: Any,
    links: Any,
    monkeypatch: pytest.MonkeyPatch,
    eventually: Callable[..., None],
) -> None:
    """A measured trap: paho's own thread would die of it and go on to say that it is connected."""
    mosquitto.start()
    driver = drive(relay(mosquitto.address(), echo=ECHO))
    reports.wait(reachable)
    link = links.all()[0]
    with monkeypatch.context() as patched:
        patched.setattr(driver, "_echo", None)
        say(mosquitto.port, "plug/state", "on")
        eventually(lambda: link.errors == 1)
    say(mosquitto.port, "plug/state", "off")
    reports.wait(lambda report: report.state == "off")
    driver.off(1)
    assert reports.wait(answered(1)).sent is True
    assert link.errors == 1


def test_user_and_password_are_read_from_a_file(mosquitto: Any, drive: Drive, reports: Any) -> None:
    users = mosquitto.folder / "users"
    password_file(users, "guard", "se cret")
    mosquitto.start("allow_anonymous false", f"password_file {users}")
    (mosquitto.folder / "good").write_text("se cret\n")
    (mosquitto.folder / "bad").write_text("wrong\n")
    drive(relay(mosquitto.address(user="guard", password_file=str(mosquitto.folder / "good"))), name="good")
    drive(relay(mosquitto.address(user="guard", password_file=str(mosquitto.folder / "bad"))), name="bad")
    drive(relay(mosquitto.address(user="guard", password_file=str(mosquitto.folder / "none"))), name="none")
    reports.wait(lambda report: report.relay == "good" and report.reachable)
    assert "refuses us: Not authorized" in reports.wait(lambda report: report.relay == "bad" and unreachable(report)).why
    assert "No such file" in reports.wait(lambda report: report.relay == "none" and unreachable(report)).why


@pytest.mark.parametrize("words", [b"HTTP/1.1 400 no\r\n\r\n", b"\x20\x02\x00\x00" * 3 + b"\xff" * 50, b"\x20\xff\xff\xff\xff\xff", b""])
def test_a_port_where_something_else_answers_is_survived(mosquitto: Any, drive: Drive, reports: Any, words: bytes) -> None:
    with socket.create_server(("127.0.0.1", mosquitto.port)) as other:
        driver = drive(relay(mosquitto.address()))
        connection, _ = other.accept()
        with connection:
            connection.recv(1024)
            connection.sendall(words)
        reports.wait(unreachable)
        driver.off(1)
        assert reports.wait(answered(1)).sent is False
    since = len(reports.all)
    mosquitto.start()
    reports.wait(reachable, since=since)
    driver.off(2)
    assert reports.wait(answered(2)).sent is True


# Where a handshake fails, paho drops the socket without closing it; Python closes it at once, and warns.
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_tls_is_verified(mosquitto: Any, drive: Drive, reports: Any, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    certificates = Certificates(tmp_path)
    mosquitto.start(certificates.config)
    trusted = drive(relay(mosquitto.address(tls={"ca_file": str(certificates.ca)})), name="trusted")
    drive(relay(mosquitto.address(tls={"ca_file": str(Certificates(tmp_path / "other").ca)})), name="stranger")
    drive(relay(mosquitto.address(tls={"ca_file": str(tmp_path / "none")})), name="unread")
    reports.wait(lambda report: report.relay == "trusted" and report.reachable)
    for order in range(1, 101):
        trusted.off(order)
    for order in range(1, 101):
        assert reports.wait(answered(order)).sent is True
    assert "certificate verify failed" in reports.wait(lambda report: report.relay == "stranger" and unreachable(report)).why
    assert "No such file" in reports.wait(lambda report: report.relay == "unread" and unreachable(report)).why


def test_a_plug_in_a_process_of_its_own_writes_the_truth_down(mosquitto: Any, drive: Drive, reports: Any, tmp_path: Path) -> None:
    mosquitto.start()
    script = Path(__file__).parent.parent / "rig" / "plug.py"
    command = [sys.executable, str(script), "--port", str(mosquitto.port), "--truth", str(tmp_path / "truth")]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        driver = drive(relay(mosquitto.address(), echo=ECHO))
        reports.wait(reachable)
        driver.off(1)
        reports.wait(lambda report: report.state == "off")
        process.terminate()
        assert process.wait(5) == 0
    assert [entry.on for entry in read_truth(tmp_path / "truth")] == [True, False]
