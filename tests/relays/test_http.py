"""Row F71, threats S14 and S16: a relay on HTTP is commanded in full and in time, or it is told that it was not."""

import logging
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.broker import free_port, wait_for
from rig.http_plug import Fault, HttpPlug

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.driver import Driver
from watchdog.relays.http import HttpDriver

Drive = Callable[..., Driver]
LIMIT_S = 0.4
CANARY = "canary-7f3a91"


def seconds() -> float:
    return time.monotonic_ns() / 1e9


@pytest.fixture
def plug() -> Iterator[HttpPlug]:
    with HttpPlug() as running:
        yield running


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    file = tmp_path / "word"
    file.write_text(f"{CANARY}\n")
    file.chmod(0o600)
    return file


def address(plug: HttpPlug, **more: Any) -> JsonObject:
    order = {"url": plug.url, "body": "contact=open", "answer": {"word": "done", "pointer": "/result"}}
    return {"kind": "http", "order": order, "time_limit_s": LIMIT_S, "ask_every_s": 60.0} | more


def echo(plug: HttpPlug, **more: Any) -> JsonObject:
    return {"echo": {"url": plug.url, "pointer": "/contact", "off": "open", "on": "closed"} | more}


def guarded(plug: HttpPlug, secret: Path) -> JsonObject:
    """All of it, with a secret in each place."""
    plug.change(word=CANARY)
    headers = {"Authorization": "Bearer {secret}"}
    made = address(plug, **echo(plug, headers=headers), secret_file=str(secret))
    made["order"] |= {"headers": headers, "body": "word={secret}"}
    return made


def answered(order: int) -> Callable[[RelayReport], bool]:
    return lambda report: report.sent is not None and report.order == order


def test_an_order_goes_out_as_it_stands_and_is_taken(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    made = address(plug)
    made["order"]["headers"] = {"Content-Type": "text/plain", "Accept": "application/json"}
    drive(made).off(7)
    report = reports.wait(answered(7))
    assert (report.sent, report.why, report.state) == (True, "", None)
    assert not plug.on
    heard = plug.orders()[0]
    assert (heard.method, heard.path, heard.body) == ("POST", "/contact", b"contact=open")
    assert heard.headers == {
        "host": f"127.0.0.1:{plug.port}",
        "content-length": "12",
        "user-agent": "heatwarden",
        "accept": "application/json",
        "accept-encoding": "identity",
        "cache-control": "no-cache",
        "content-type": "text/plain",
    }


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        ("error body", "its answer says 'refused' at /result, not 'done'"),
        ("redirect", "it answers 302 Found (to http://127.0.0.1:{port}/elsewhere, which is not followed)"),
        ("login", "it answers 401 Unauthorized"),
        ("no content", "its answer says nothing fit at /result in '', not 'done'"),
        ("hang", "no whole answer within 0.4 s"),
        ("hang in the body", "no whole answer within 0.4 s"),
        ("drip", "no whole answer within 0.4 s"),
        ("head drip", "no whole answer within 0.4 s"),
        ("closes early", "it closed the connection before its answer was whole"),
        ("cut short", "it closed the connection before its answer was whole"),
        ("packed", "the answer is packed (gzip), which was not asked for"),
        ("long", "the answer has more than the 65536 bytes allowed"),
    ],
)
def test_an_order_that_was_not_taken_is_told_within_the_limit(
    plug: HttpPlug, drive: Drive, reports: Any, eventually: Callable[..., None], fault: Fault, why: str
) -> None:
    driver = drive(address(plug))
    reports.wait(lambda report: report.reachable is True)  # all that must be loaded is loaded
    plug.change(order=fault)
    began = seconds()
    driver.off(1)
    report = reports.wait(answered(1))
    assert (report.sent, report.why) == (False, why.format(port=plug.port))
    assert report.at - began <= LIMIT_S
    assert len(plug.orders()) == 1, "one order, one request"
    plug.change(order="none")
    driver.off(2)
    assert reports.wait(answered(2)).sent is True
    eventually(lambda: not plug.on)


def test_without_a_word_that_must_come_any_good_status_is_taken(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    made = address(plug)
    del made["order"]["answer"]
    plug.change(order="no content")
    drive(made).off(1)
    assert reports.wait(answered(1)).sent is True


def test_a_refused_connection_is_a_failure(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    made = address(plug)
    made["order"]["url"] = f"http://127.0.0.1:{free_port()}/"
    drive(made).off(1)
    report = reports.wait(answered(1))
    assert (report.sent, report.why) == (False, "Connection refused")


def test_the_echo_proves_reach_and_tells_the_state(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    driver = drive(address(plug, **echo(plug)))
    first = reports.wait(lambda report: report.state is not None)
    assert (first.reachable, first.state, first.why) == (True, "on", "")
    driver.off(3)
    sent = reports.wait(answered(3))
    off = reports.wait(lambda report: report.state == "off")
    assert reports.all.index(off) == reports.all.index(sent) + 1, "asked at once"
    assert off.at - sent.at < 0.3


def test_after_an_order_that_did_nothing_it_asks_each_second(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    made = address(plug, **echo(plug))
    made["order"]["body"] = "something else"
    drive(made).off(1)
    reports.wait(answered(1))
    since = len(reports.all)
    first = reports.wait(lambda report: report.state == "on", since=since)
    second = reports.wait(lambda report: report.state == "on", since=reports.all.index(first) + 1, within_s=3)
    assert 0.8 < second.at - first.at < 1.5


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (
            "login",
            "asking failed: its answer says nothing fit at /contact in '<!doctype html>",
        ),
        ("error body", "asking failed: its answer says nothing fit at /contact in"),
        ("redirect", "asking failed: it answers 302 Found"),
        ("hang", "asking failed: no whole answer within 0.4 s"),
        ("drip", "asking failed: no whole answer within 0.4 s"),
        ("closes early", "asking failed: it closed the connection"),
    ],
)
def test_an_unclear_echo_is_no_state_and_no_reach(plug: HttpPlug, drive: Drive, reports: Any, fault: Fault, why: str) -> None:
    plug.change(state=fault)
    drive(address(plug, **echo(plug)))
    report = reports.wait(lambda report: report.reachable is not None)
    assert (report.reachable, report.state) == (False, None)
    assert report.why.startswith(why)


def test_a_word_that_is_neither_is_shown_safely(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    plug.change(says_on="\x1b[2Jajar")
    drive(address(plug, **echo(plug)))
    report = reports.wait(lambda report: report.reachable is False)
    assert report.why == "asking failed: its answer says '\\x1b[2Jajar' at /contact, not 'open' or 'closed'"


def test_power_is_read_from_the_page_of_the_echo(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    driver = drive(address(plug, **echo(plug), meter={"pointer": "/power/watts"}))
    assert reports.wait(lambda report: report.power_w is not None).power_w == 310.0
    plug.change(standby_w=200.0)  # it measures slowly
    driver.off(1)
    said = reports.wait(lambda report: report.state == "off")
    assert said.power_w == 200.0
    plug.change(standby_w=0.4)
    assert reports.wait(lambda report: report.power_w == 0.4, within_s=3).state == "off"
    heard = len(plug.heard)
    assert not wait_for(lambda: len(plug.heard) > heard, 1.3), "all is known: it need not be asked any more"


@pytest.mark.parametrize("watts", [float("-310"), True, "310", None])
def test_power_that_nobody_can_believe_is_none(plug: HttpPlug, drive: Drive, reports: Any, watts: Any) -> None:
    plug.change(watts=watts)
    drive(address(plug, **echo(plug), meter={"pointer": "/power/watts"}))
    report = reports.wait(lambda report: report.state == "on")
    assert report.power_w is None
    assert report.why.startswith("its answer holds no power: it says ")


@pytest.mark.parametrize("fault", ["hang", "hang in the body", "drip"])
def test_an_order_goes_before_an_ask_that_hangs(
    plug: HttpPlug, drive: Drive, reports: Any, eventually: Callable[..., None], fault: Fault
) -> None:
    plug.change(state=fault)
    driver = drive(address(plug, **echo(plug), time_limit_s=20.0))
    eventually(lambda: plug.heard)
    began = seconds()
    driver.off(1)
    handed_over = seconds()
    report = reports.wait(answered(1))
    assert report.sent is True
    assert handed_over - began < 0.05
    assert report.at - began < 0.5
    assert not any(report.reachable is False for report in reports.all), "a stopped ask says nothing about the relay"


def test_stopping_ends_an_ask_under_way_and_answers_orders_with_a_failure(
    plug: HttpPlug, drive: Drive, reports: Any, eventually: Callable[..., None]
) -> None:
    plug.change(state="hang")
    driver = drive(address(plug, **echo(plug), time_limit_s=20.0))
    eventually(lambda: plug.heard)
    began = seconds()
    driver.stop()
    assert seconds() - began < 1.0
    driver.off(4)
    assert reports.wait(answered(4)).why == "the driver is not running"


def test_without_an_echo_it_is_seen_whether_a_connection_can_be_made(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    drive(address(plug, ask_every_s=0.05))
    reports.wait(lambda report: report.reachable is True)
    plug.stop()
    assert reports.wait(lambda report: report.reachable is False and report.why == "Connection refused")
    assert len({(report.reachable, report.why) for report in reports.all}) == len(reports.all), "said when it changes only"
    assert plug.heard == []


def test_the_secret_reaches_the_device_and_nobody_else(
    plug: HttpPlug, drive: Drive, reports: Any, secret: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    driver = drive(guarded(plug, secret))
    reports.wait(lambda report: report.state == "on")
    driver.off(1)
    assert reports.wait(answered(1)).sent is True
    assert {heard.headers["authorization"] for heard in plug.heard} == {f"Bearer {CANARY}"}
    assert plug.orders()[0].body == f"word={CANARY}".encode()
    assert CANARY not in caplog.text
    assert CANARY not in repr(reports.all) + repr(vars(driver)["_address"])


@pytest.mark.parametrize("part", ["order", "state"])
def test_a_device_that_sends_the_secret_back_does_not_give_it_away(
    plug: HttpPlug, drive: Drive, reports: Any, secret: Path, caplog: pytest.LogCaptureFixture, part: str
) -> None:
    caplog.set_level(logging.DEBUG)
    made = guarded(plug, secret)
    plug.change(says_on=f"you said {CANARY}")
    if part == "order":
        made["order"]["answer"] = {"word": "done", "pointer": "/contact"}
        plug.change(answers_state=True)
    drive(made).off(1)
    told = reports.wait(answered(1) if part == "order" else lambda report: report.reachable is False)
    assert "you said (secret)" in told.why
    assert CANARY not in caplog.text + repr(reports.all)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (f"{CANARY}\r\nX-More: yes", "its secret is not one line of printable characters without spaces around it"),
        (f" {CANARY}", "its secret is not one line of printable characters without spaces around it"),
        ("", "its secret is not one line of printable characters without spaces around it"),
        ("w\u00f6rd", "its secret is not plain ASCII text"),
        (None, "its secret cannot be read: No such file or directory"),
    ],
)
def test_nothing_is_sent_without_a_sound_secret(
    plug: HttpPlug, drive: Drive, reports: Any, secret: Path, caplog: pytest.LogCaptureFixture, text: str | None, why: str
) -> None:
    if text is None:
        secret.unlink()
    else:
        secret.write_text(text)
    drive(guarded(plug, secret)).off(1)
    report = reports.wait(answered(1))
    assert (report.sent, report.why) == (False, why)
    assert plug.heard == []
    assert CANARY not in caplog.text


def test_a_changed_secret_needs_no_restart_and_a_lost_one_leaves_the_last(plug: HttpPlug, drive: Drive, reports: Any, secret: Path) -> None:
    driver = drive(guarded(plug, secret))
    reports.wait(lambda report: report.state == "on")
    plug.change(word="canary-changed")
    secret.write_text("canary-changed\n")
    driver.off(1)
    assert reports.wait(answered(1)).sent is True
    secret.unlink()
    driver.off(2)
    assert reports.wait(answered(2)).sent is True


def test_a_secret_may_be_a_credential_of_the_service_manager(
    plug: HttpPlug, drive: Drive, reports: Any, secret: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(secret.parent))
    drive(guarded(plug, secret) | {"secret_file": "", "secret_credential": secret.name}).off(1)
    assert reports.wait(answered(1)).sent is True
    monkeypatch.delenv("CREDENTIALS_DIRECTORY")
    drive(guarded(plug, secret) | {"secret_file": "", "secret_credential": secret.name}, name="second").off(2)
    assert reports.wait(answered(2)).why == "its secret cannot be read: systemd gave this service no credentials"


def test_orders_that_pile_up_behind_a_slow_device_are_all_answered(plug: HttpPlug, drive: Drive, reports: Any) -> None:
    plug.change(order="hang")
    driver = drive(address(plug))
    for order in range(1, 31):
        driver.off(order)
    for order in range(1, 31):
        assert reports.wait(answered(order)).sent is False
    assert len(plug.orders()) <= 3


def test_a_report_that_fails_loses_no_other_one_and_no_secret(
    plug: HttpPlug, reports: Any, links: Any, secret: Path, caplog: pytest.LogCaptureFixture
) -> None:
    from watchdog.relays.registry import build  # noqa: PLC0415 - with a sink of its own

    def fussy(report: RelayReport) -> None:
        if report.order == 1:
            raise RuntimeError(f"broken sink {CANARY}")
        reports(report)

    driver = build("anvil-plug", guarded(plug, secret), now=seconds, report=fussy, links=links)
    assert isinstance(driver, HttpDriver)
    driver.start()
    try:
        for order in (1, 2):
            driver.off(order)
            assert wait_for(lambda order=order: len(plug.orders()) == order)
        assert reports.wait(answered(2)).sent is True
        assert driver.errors == 1
        assert "a report was lost: RuntimeError: broken sink (secret)" in caplog.text
        assert CANARY not in caplog.text
    finally:
        driver.stop()


def test_a_relay_on_http_is_built_without_an_http_client() -> None:
    address = {"kind": "http", "order": {"url": "https://192.0.2.7/contact"}}
    code = (
        "import sys, orjson\nfrom watchdog.relays.registry import build\nfrom watchdog.relays.mqtt_links import Links\n"
        "now = lambda: 0.0\n"
        f"build('plug', orjson.loads({orjson.dumps(address)!r}), now=now, report=print, links=Links(now), checked=True)\n"
        "print(sorted({'httpcore2', 'httpx2', 'h11', 'pydantic'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
