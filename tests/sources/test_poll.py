"""A page is asked over real HTTP; whatever else it does than answer, no reading comes of it, in time, and it is told once."""

import gzip
import ssl
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from pytest_httpserver import HTTPServer
from rig.broker import Certificates, free_port, wait_for
from rig.raw_http import RawServer, Talk, always, answer

from watchdog.core.inputs import SourceReport
from watchdog.settings.addresses import Page
from watchdog.sources.mqtt_handlers import Subscription
from watchdog.sources.poll import PollSource
from watchdog.wire.feed import Feed, Fields

from .conftest import Heard, now

GOOD = b'{"bed": {"now": 61.25, "wanted": 60}, "hotend": {"now": 205.5, "wanted": 210}}'
EVERY_S = 0.25
LIMIT_S = 0.4


def part(heater: str, printer: str = "anvil") -> Subscription:
    """One heater in the page."""
    fields = Fields(temperature=f"/{heater}/now", target=f"/{heater}/wanted", duty=None, power=None)
    return Subscription(printer=printer, heater=heater, source=f"{printer}/{heater}", feed=Feed(topic="", fields=fields))


Asks = Callable[..., PollSource]


@pytest.fixture
def ask(heard: Heard) -> Iterator[Asks]:
    """Makes sources that are stopped at the end of the test."""
    made: list[PollSource] = []

    def begin(url: str, *subscriptions: Subscription, **page: Any) -> PollSource:
        table = Page(url=url, **({"every_s": EVERY_S, "time_limit_s": LIMIT_S} | page))
        wanted = subscriptions or (part("bed"), part("hotend"))
        source = PollSource("board", table, wanted, heard, now, heard.note, link="page board")
        made.append(source)
        source.start()
        return source

    yield begin
    for source in made:
        assert source.stop(1.0), "the thread did not end"


@pytest.fixture
def raw() -> Iterator[Callable[..., RawServer]]:
    made: list[RawServer] = []

    def begin(*words: Any, **options: Any) -> RawServer:
        made.append(RawServer(*words, **options).__enter__())
        return made[-1]

    yield begin
    for server in made:
        server.__exit__(None, None, None)


def url(server: RawServer, scheme: str = "http", path: str = "/now") -> str:
    return f"{scheme}://127.0.0.1:{server.port}{path}"


def test_one_request_brings_the_readings_of_all_its_heaters(heard: Heard, ask: Asks, httpserver: HTTPServer) -> None:
    httpserver.expect_request("/now", method="GET").respond_with_data(GOOD, content_type="text/plain")
    t0 = now()
    source = ask(httpserver.url_for("/now"))
    assert wait_for(lambda: len(heard.readings) >= 4)
    first, second = list(heard.readings)[:2]
    assert (first.printer, first.heater, first.temperature_c, first.target_c) == ("anvil", "bed", 61.25, 60.0)
    assert (second.heater, second.temperature_c) == ("hotend", 205.5)
    assert t0 <= first.at <= now()
    assert not first.retained
    assert [(report.source, report.connected) for report in heard.links] == [("page board", True)]
    asked = httpserver.log[0][0]
    assert asked.headers["Accept-Encoding"] == "identity"
    assert "Authorization" not in asked.headers
    assert source.told()["failures"] == {}


def test_the_connection_is_kept_and_the_time_between_requests_too(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    server = raw(always(answer(GOOD)))
    source = ask(url(server), part("bed"))
    assert wait_for(lambda: len(heard.readings) >= 5)
    times = [reading.at for reading in heard.readings][:5]
    assert server.connections == 1
    assert times[4] - times[0] == pytest.approx(4 * EVERY_S, abs=0.1)
    assert source.polls <= (now() - times[0]) / EVERY_S + 2


def test_a_slow_page_is_not_asked_all_the_more(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    def slowly(talk: Talk) -> None:
        while talk.hear():
            talk.pause(0.3)
            talk.say(answer(GOOD))

    source = ask(url(raw(slowly)), part("bed"))
    assert wait_for(lambda: len(heard.readings) >= 3)
    times = [reading.at for reading in heard.readings]
    assert times[1] - times[0] == pytest.approx(2 * EVERY_S, abs=0.12)
    assert source.polls <= len(times) + 1


def test_the_same_bytes_again_are_readings_of_their_receipt(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    server = raw(always(answer(GOOD, fields="Age: 86400\r\nDate: Mon, 24 Nov 2025 16:00:00 GMT\r\n")))
    ask(url(server), part("bed"))
    assert wait_for(lambda: len(heard.readings) >= 2)
    assert heard.readings[1].at > heard.readings[0].at


def hang(talk: Talk) -> None:
    talk.hear()
    talk.pause(30)


def hang_after_the_head(talk: Talk) -> None:
    talk.hear()
    talk.say(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n")
    talk.pause(30)


def drip_the_head(talk: Talk) -> None:
    talk.hear()
    for letter in b"HTTP/1.1 200 OK\r\n" + b"X-Filler: 1\r\n" * 100:
        talk.say(bytes([letter]))
        talk.pause(0.05)


def drip_the_body(talk: Talk) -> None:
    talk.hear()
    talk.say(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\n")
    for _ in range(1000):
        talk.say(b" ")
        talk.pause(0.05)


def drip_chunks(talk: Talk) -> None:
    talk.hear()
    talk.say(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
    for _ in range(1000):
        talk.say(b"1\r\n \r\n")
        talk.pause(0.05)


def never_an_answer(talk: Talk) -> None:
    for _ in range(1000):
        talk.say(b"HTTP/1.1 103 Early Hints\r\n\r\n")
        talk.pause(0.05)


@pytest.mark.parametrize("story", [hang, hang_after_the_head, drip_the_head, drip_the_body, drip_chunks, never_an_answer])
def test_row_f24_every_request_ends_within_its_whole_time(
    heard: Heard, ask: Asks, raw: Callable[..., RawServer], story: Callable[[Talk], None]
) -> None:
    t0 = now()
    source = ask(url(raw(story)))
    assert wait_for(lambda: source.told()["failures"].get("late", 0) >= 2)
    assert now() - t0 < 2 * LIMIT_S + EVERY_S + 0.5
    assert heard.links == [SourceReport("page board", heard.links[0].at, connected=False, why=f"no whole answer within {LIMIT_S:g} s")]
    assert heard.links[0].at - t0 == pytest.approx(LIMIT_S, abs=0.25)
    assert heard.notes == [f"warning: page board: no readings: no whole answer within {LIMIT_S:g} s"]
    assert not heard.readings


def test_row_f24_tls_that_hangs_in_its_greeting_ends_in_time_too(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    source = ask(url(raw(lambda talk: talk.pause(30)), "https"))
    assert wait_for(lambda: source.told()["failures"].get("late", 0) >= 2, 3)
    assert not heard.readings


BOMB = gzip.compress(b" " * 1_000_000)

NO_READING = {
    "an empty answer": (answer(b"", "204 No Content"), "status 204", "it answers 204 No Content"),
    "a redirect": (
        answer(b"", "301 Moved Permanently", "Location: http://elsewhere.example/now?key=hunter2\r\n"),
        "status 301",
        "it answers 301 Moved Permanently (to http://elsewhere.example/now, which is not followed)",
    ),
    "no access": (answer(GOOD, "401 Unauthorized"), "status 401", "it answers 401 Unauthorized"),
    "an error": (answer(GOOD, "500 Internal Server Error"), "status 500", "it answers 500 Internal Server Error"),
    "a part": (answer(GOOD, "206 Partial Content"), "status 206", "it answers 206 Partial Content"),
    "a status nobody knows": (answer(GOOD, "299 Fine"), "status 299", "it answers 299"),
    "a bomb": (answer(BOMB, fields="Content-Encoding: gzip\r\n"), "packed", "the answer is packed (gzip), which was not asked for"),
    "too long": (answer(b" " * 70_000 + GOOD), "too long", "the answer has more than the 65536 bytes allowed"),
    "a login page": (answer(b"<html>Log in"), "no reading", "its answer holds no reading: <html>Log in"),
    "nothing": (answer(b""), "no reading", "its answer holds no reading: it is empty"),
    "something else": (b"SSH-2.0-board\r\n\r\n", "RemoteProtocolError", "no sound answer: "),
    "half of it": (answer(GOOD + b"     ")[:-5], "late", "no whole answer"),
}


@pytest.mark.parametrize("name", NO_READING)
def test_row_f25_what_is_no_reading_is_told_once_and_counted(heard: Heard, ask: Asks, raw: Callable[..., RawServer], name: str) -> None:
    words, kind, says = NO_READING[name]
    server = raw(always(words))
    source = ask(url(server))
    assert wait_for(lambda: source.told()["failures"].get(kind, 0) >= 3), source.told()
    assert says in source.told()["why"]
    assert not heard.readings
    assert [report.connected for report in heard.links] == [False], "one event for all heaters of the page"
    assert len(heard.notes) == 1
    assert "hunter2" not in heard.notes[0] + heard.whys()
    assert set(source.told()["failures"]) == {kind}


def test_row_f25_an_endless_answer_is_cut_off_in_memory_and_in_time(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    sent: list[int] = []

    def endless(talk: Talk) -> None:
        talk.hear()
        talk.say(b"HTTP/1.1 200 OK\r\n\r\n")
        for _ in range(10_000):
            talk.say(b" " * 100_000)
            sent.append(100_000)

    source = ask(url(raw(endless)), every_s=10.0)
    assert wait_for(lambda: source.told()["failures"].get("too long"))
    assert wait_for(lambda: len(sent) < 100), "the connection is closed, and nobody takes in a gigabyte"
    assert not heard.readings


def test_one_lost_answer_is_no_lost_page_and_two_are_told_until_it_is_back(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    answers = [answer(GOOD)] * 2 + [answer(b"", "500 x")] + [answer(GOOD)] * 2 + [answer(b"", "500 x")] * 3 + [answer(GOOD)] * 1000

    def story(talk: Talk) -> None:
        while talk.hear():
            talk.say(answers.pop(0))

    source = ask(url(raw(story)), part("bed"))
    assert wait_for(lambda: len(heard.readings) >= 6)
    assert [report.connected for report in heard.links] == [True, False, True]
    assert source.told()["failures"] == {"status 500": 4}
    assert source.told()["why"] == ""


def test_a_heater_that_is_missing_in_the_page_is_told_by_itself(heard: Heard, ask: Asks, raw: Callable[..., RawServer]) -> None:
    source = ask(url(raw(always(answer(GOOD)))), part("bed"), part("chamber"))
    assert wait_for(lambda: len(heard.readings) >= 2)
    assert {item.heater for item in heard.unusable} == {"chamber"}
    assert heard.linked()
    assert source.told()["failures"] == {}


def test_a_connection_that_the_device_closes_after_each_answer_is_no_failure(
    heard: Heard, ask: Asks, raw: Callable[..., RawServer]
) -> None:
    def once(talk: Talk) -> None:
        talk.hear()
        talk.say(answer(GOOD))

    server = raw(once)
    source = ask(url(server), part("bed"))
    assert wait_for(lambda: len(heard.readings) >= 4)
    assert server.connections >= 4
    assert source.told()["failures"] == {}


def test_a_page_that_nobody_serves_is_told_and_found_when_it_is_served(heard: Heard, ask: Asks) -> None:
    port = free_port()
    source = ask(f"http://127.0.0.1:{port}/now", part("bed"))
    assert wait_for(lambda: heard.links)
    assert heard.links[0].why == "Connection refused"
    with HTTPServer(host="127.0.0.1", port=port) as server:
        server.expect_request("/now").respond_with_data(GOOD)
        assert wait_for(heard.linked)
        assert wait_for(lambda: heard.readings)
        assert source.told()["why"] == ""
        assert source.stop()


def test_the_secret_is_sent_as_it_stands_and_never_shown(heard: Heard, ask: Asks, raw: Callable[..., RawServer], tmp_path: Path) -> None:
    asked: list[bytes] = []

    def story(talk: Talk) -> None:
        while request := talk.hear():
            asked.append(request)
            talk.say(answer(b"", "401 Unauthorized"))

    (tmp_path / "secret").write_text("Bearer correct-horse\n")
    source = ask(url(raw(story)), header="X-Board-Key", secret_file=str(tmp_path / "secret"))
    assert wait_for(lambda: asked)
    assert b"\r\nX-Board-Key: Bearer correct-horse\r\n" in asked[0]
    (tmp_path / "secret").write_text("Bearer correct\r\nhorse\n")
    assert wait_for(lambda: source.told()["failures"].get("secret"))
    count = len(asked)
    (tmp_path / "secret").unlink()
    assert wait_for(lambda: source.told()["failures"].get("secret", 0) >= 3)
    assert len(asked) == count, "nothing is asked without the secret"
    assert "correct" not in "".join(heard.notes) + heard.whys()


def test_no_proxy_of_the_environment_is_heeded(
    heard: Heard, ask: Asks, raw: Callable[..., RawServer], monkeypatch: pytest.MonkeyPatch
) -> None:
    proxy = raw(always(answer(b'{"bed": {"now": 20.0}}')))
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, f"http://127.0.0.1:{proxy.port}")
    ask(url(raw(always(answer(GOOD)))), part("bed"))
    assert wait_for(lambda: heard.readings)
    assert heard.readings[0].temperature_c == 61.25
    assert proxy.connections == 0


def server_side(certificates: Certificates) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificates.certificate, certificates.key)
    return context


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({}, ""),
        ({"expired": True}, "certificate refused: certificate has expired"),
        ({"host": "DNS:other.example"}, "certificate refused: IP address mismatch"),
        ({"known": False}, "certificate refused: "),
    ],
    ids=["good", "expired", "wrong name", "unknown authority"],
)
def test_certificates_are_always_verified(
    heard: Heard, ask: Asks, raw: Callable[..., RawServer], tmp_path: Path, options: dict[str, Any], says: str
) -> None:
    known = options.get("known", True)
    certificates = Certificates(tmp_path, **{key: value for key, value in options.items() if key != "known"})
    server = raw(always(answer(GOOD)), context=server_side(certificates))
    source = ask(url(server, "https"), part("bed"), ca_file=str(certificates.ca) if known else "", time_limit_s=2.0)
    if not says:
        assert wait_for(lambda: heard.readings)
        return
    assert wait_for(lambda: heard.links)
    assert says in heard.links[0].why
    assert set(source.told()["failures"]) == {"certificate"}
    assert not heard.readings


def test_authorities_that_cannot_be_read_are_told(heard: Heard, ask: Asks, tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("none")
    ask("https://127.0.0.1:1/now", ca_file=str(tmp_path / "ca.pem"))
    assert wait_for(lambda: heard.links)
    assert "cannot be used" in heard.links[0].why


def test_a_page_that_hangs_does_not_keep_the_guard_from_ending(heard: Heard, raw: Callable[..., RawServer]) -> None:
    server = raw(hang)
    source = PollSource("board", Page(url=url(server), every_s=1.0, time_limit_s=10.0), [part("bed")], heard, now, heard.note, link="x")
    source.start()
    assert wait_for(lambda: server.connections)
    threading.Event().wait(0.1)
    t0 = now()
    assert source.stop(2.0)
    assert now() - t0 < 0.5
    assert not heard.links, "and the end is no failure"


def test_without_a_page_no_http_client_is_loaded() -> None:
    program = "import sys, watchdog.wiring; print([name for name in ('httpcore2', 'httpx2', 'h11', 'anyio') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
