"""A request ends within its time as a whole, wherever it hangs, and at once when it is broken off."""

import logging
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import Certificates, free_port
from rig.http_plug import Fault, HttpHabits, HttpPlug

from watchdog.fetch.breaker import Breaker, BrokenOffError
from watchdog.fetch.client import Client, Request, status_words
from watchdog.fetch.failure import NoAnswerError
from watchdog.fetch.lookup import Lookup

LIMIT_S = 0.4


def seconds() -> float:
    return time.monotonic_ns() / 1e9


@pytest.fixture
def client() -> Client:
    lookups: dict[tuple[str, int], Lookup] = {}
    return Client(seconds, lambda host, port: lookups.setdefault((host, port), Lookup(host, port)))


@pytest.fixture
def plug() -> Iterator[HttpPlug]:
    with HttpPlug() as running:
        yield running


@pytest.fixture
def full() -> Iterator[int]:
    """A port on which nobody takes a connection: each attempt hangs."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(0)
        fillers = [socket.socket() for _ in range(4)]
        for filler in fillers:
            filler.setblocking(False)
            filler.connect_ex(listening.getsockname())
        yield listening.getsockname()[1]
        for filler in fillers:
            filler.close()


def get(client: Client, url: str, within_s: float = LIMIT_S, breaker: Breaker | None = None) -> bytes:
    return client.fetch(Request("GET", url, {}), seconds() + within_s, breaker or Breaker()).body


def test_a_whole_answer_is_given_as_it_came(client: Client, plug: HttpPlug) -> None:
    assert get(client, plug.url) == plug.told()
    assert plug.heard[0].headers["accept-encoding"] == "identity"
    assert plug.heard[0].headers["host"] == f"127.0.0.1:{plug.port}"


def test_each_request_has_a_connection_of_its_own(client: Client, plug: HttpPlug) -> None:
    for _ in range(3):
        get(client, plug.url)
    assert client._ready(Request("GET", plug.url, {})).connections == []


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        ("hang", "no whole answer in time"),
        ("hang in the body", "no whole answer in time"),
        ("drip", "no whole answer in time"),
        ("head drip", "no whole answer in time"),
        ("closes early", "it closed the connection before its answer was whole"),
        ("cut short", "it closed the connection before its answer was whole"),
        ("not http", "no sound answer: this is no HTTP"),
        ("packed", "the answer is packed \\(gzip\\), which was not asked for"),
        ("long", "the answer has more than the 65536 bytes allowed"),
    ],
)
def test_anything_but_a_whole_answer_is_told_within_the_time(client: Client, plug: HttpPlug, fault: Fault, why: str) -> None:
    plug.change(state=fault)
    began = seconds()
    with pytest.raises(NoAnswerError, match=why):
        get(client, plug.url)
    assert seconds() - began < LIMIT_S + 0.15
    plug.change(state="none")
    assert get(client, plug.url, 2.0) == plug.told(), "one bad answer spoils no later one"


def test_a_redirect_is_an_answer_and_is_not_followed(client: Client, plug: HttpPlug) -> None:
    plug.change(state="redirect")
    answer = client.fetch(Request("GET", plug.url, {}), seconds() + 2.0, Breaker())
    assert answer.status == 302
    assert status_words(answer) == f"it answers 302 Found (to http://127.0.0.1:{plug.port}/elsewhere, which is not followed)"
    assert [heard.path for heard in plug.heard] == ["/contact"]


def test_a_connection_that_hangs_ends_in_time(client: Client, full: int) -> None:
    began = seconds()
    with pytest.raises(NoAnswerError, match="no whole answer in time"):
        get(client, f"http://127.0.0.1:{full}/")
    assert seconds() - began < LIMIT_S + 0.15


def test_a_refused_connection_says_so(client: Client) -> None:
    with pytest.raises(NoAnswerError, match="Connection refused"):
        get(client, f"http://127.0.0.1:{free_port()}/")


def test_a_name_without_address_says_so(client: Client) -> None:
    with pytest.raises(NoAnswerError, match=r"the name nowhere\.invalid (cannot be looked up|was not looked up in time)"):
        get(client, "http://nowhere.invalid/", 1.0)


@pytest.mark.parametrize("fault", ["hang", "hang in the body", "drip", "head drip"])
def test_breaking_off_ends_a_request_that_waits(client: Client, plug: HttpPlug, fault: Fault) -> None:
    plug.change(state=fault)
    breaker = Breaker()
    threading.Timer(0.15, breaker.break_off).start()
    began = seconds()
    with pytest.raises(BrokenOffError):
        get(client, plug.url, 5.0, breaker)
    assert seconds() - began < 1.0


def test_breaking_off_ends_a_request_that_connects(client: Client, full: int) -> None:
    breaker = Breaker()
    threading.Timer(0.15, breaker.break_off).start()
    began = seconds()
    with pytest.raises(BrokenOffError):
        get(client, f"http://127.0.0.1:{full}/", 5.0, breaker)
    assert seconds() - began < 1.0


def test_breaking_off_ends_a_handshake(client: Client, full: int) -> None:
    del full
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen(1)
        breaker = Breaker()
        threading.Timer(0.15, breaker.break_off).start()
        began = seconds()
        with pytest.raises(BrokenOffError):
            get(client, f"https://127.0.0.1:{mute.getsockname()[1]}/", 5.0, breaker)
        assert seconds() - began < 1.0
        with pytest.raises(NoAnswerError, match="no whole answer in time"):
            get(client, f"https://127.0.0.1:{mute.getsockname()[1]}/")


def test_what_is_broken_off_before_it_begins_sends_nothing(client: Client, plug: HttpPlug) -> None:
    breaker = Breaker()
    breaker.break_off()
    with pytest.raises(BrokenOffError):
        get(client, plug.url, 5.0, breaker)
    assert plug.heard == []


@pytest.mark.parametrize(
    ("host", "authority", "days", "why"),
    [
        ("IP:127.0.0.1", "known", 2, ""),
        ("DNS:plug.example", "known", 2, "certificate refused: .*mismatch"),
        ("IP:127.0.0.1", "unknown", 2, "certificate refused: "),
        ("IP:127.0.0.1", "known", -1, "certificate refused: certificate has expired"),
    ],
    ids=["good", "another name", "an authority nobody knows", "expired"],
)
def test_a_device_must_be_who_it_should_be(tmp_path: Path, host: str, authority: str, days: int, why: str) -> None:
    made = Certificates(tmp_path, host, expired=days < 0)
    client = Client(seconds, Lookup, ca_file=str(made.ca) if authority == "known" else "")
    with HttpPlug(HttpHabits(certificate=(made.certificate, made.key))) as plug:
        if why:
            with pytest.raises(NoAnswerError, match=why):
                get(client, plug.url, 2.0)
            with pytest.raises(NoAnswerError, match=why):
                client.reach("127.0.0.1", plug.port, seconds() + 2.0, Breaker(), tls=True)
            assert plug.heard == [], "nothing is said to somebody else"
        else:
            assert get(client, plug.url, 2.0) == plug.told()
            client.reach("127.0.0.1", plug.port, seconds() + 2.0, Breaker(), tls=True)


def test_authorities_that_cannot_be_read_are_told_and_read_again_later(tmp_path: Path) -> None:
    file = tmp_path / "ca.pem"
    client = Client(seconds, Lookup, ca_file=str(file))
    for text in (None, "no authority"):
        if text:
            file.write_text(text)
        with pytest.raises(NoAnswerError, match=rf"ca_file {file} cannot be used"):
            get(client, "https://127.0.0.1:9/", 2.0)
    file.write_bytes(Certificates(tmp_path).ca.read_bytes())
    with pytest.raises(NoAnswerError, match="Connection refused"):
        get(client, f"https://127.0.0.1:{free_port()}/", 2.0)


def test_no_proxy_of_the_environment_is_used(client: Client, plug: HttpPlug, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"):
        monkeypatch.setenv(name, f"http://127.0.0.1:{free_port()}")
    assert get(client, plug.url, 2.0) == plug.told()


def test_the_client_tells_the_log_nothing_of_its_requests(client: Client, plug: HttpPlug, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    client.fetch(Request("POST", plug.url, {"Authorization": "Bearer canary"}, "contact=open"), seconds() + 2.0, Breaker())
    assert plug.heard[0].headers["authorization"] == "Bearer canary"
    assert [record for record in caplog.records if record.name.startswith("http")] == []
