"""A front alone, without a guard: what clients can do to it, and what they cannot. Rows S06, S08, S09, S26, F53 and F87."""

import socket
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from rig.figures import figure
from rig.front import Front
from rig.workshop import seconds, until

from watchdog.front.body import MOST_BYTES
from watchdog.front.gate import HEADERS, LARGEST_HEAD
from watchdog.front.protocol import BODY_WITHIN_S, HEAD_WITHIN_S, MOST_CONNECTIONS

pytestmark = pytest.mark.rig

TOKEN = "hw_" + "a" * 43
HEAD = b"GET /livez HTTP/1.1\r\nHost: localhost\r\n"


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    place = tmp_path_factory.mktemp("front")
    with Front(place / "config", place / "state", 'hosts = ["shed.example"]') as front:
        yield front


def rest(connection: socket.socket) -> bytes:
    """All that still comes until the connection ends."""
    pieces = []
    try:
        while piece := connection.recv(65536):
            pieces.append(piece)
    except ConnectionResetError:
        pass
    return b"".join(pieces)


def rss_mb(front: Front) -> float:
    assert front.process is not None
    line = next(line for line in Path(f"/proc/{front.process.pid}/status").read_text().splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def test_it_lives_without_a_guard_and_says_that_it_is_not_ready(front: Front) -> None:
    assert front.get("/livez").json == {"alive": True}
    answer = front.get("/readyz")
    assert (answer.status, answer.problem) == (503, "guard-away")
    assert answer.json["reasons"]
    assert int(answer.headers["retry-after"]) > 0


def test_without_a_guard_no_token_can_be_good_and_none_is_called_bad(front: Front) -> None:
    for path in ("/api/v1/status", "/api/v1/events", "/api/v1/events/stream", "/api/v1/openapi.json"):
        answer = front.get(path, TOKEN)
        assert (answer.status, answer.problem) == (503, "guard-away")
        assert "retry-after" in answer.headers


def test_every_answer_good_or_not_carries_the_headers_that_keep_browsers_from_harm(front: Front) -> None:
    asked = [("GET", path) for path in ("/livez", "/readyz", "/nowhere", "/api/v1/status")]
    for answer in [front.ask(*each) for each in (*asked, ("PUT", "/livez"))]:
        assert {name: answer.headers.get(name.lower()) for name in HEADERS} == HEADERS
        assert not [name for name in answer.headers if name.startswith("access-control") or name in {"server", "set-cookie"}]


def test_only_its_own_names_are_answered(front: Front) -> None:
    for host in ("evil.example", "localhost.", "evil.example:8463"):
        answer = front.ask("GET", "/livez", headers={"Host": host})
        assert (answer.status, answer.problem) == (421, "wrong-host")
    assert front.ask("GET", "/livez", headers={"Host": "shed.example:1234"}).status == 200


def test_headers_that_a_proxy_would_set_change_nothing(front: Front) -> None:
    """Row S26."""
    told = {
        "X-Forwarded-For": "198.51.100.9",
        "X-Forwarded-Host": "evil.example",
        "X-Forwarded-Proto": "https",
        "Forwarded": "for=198.51.100.9;host=evil.example",
        "X-Real-IP": "198.51.100.9",
        "X-Remote-User": "ada",
        "X-Forwarded-User": "ada",
    }
    assert front.ask("GET", "/livez", headers=told).status == 200
    assert front.ask("GET", "/api/v1/status", headers=told).problem == "no-token"
    assert front.ask("GET", "/livez", headers=told | {"Host": "evil.example", "X-Forwarded-Host": "localhost"}).status == 421
    until(lambda: "GET /livez from 127.0.0.1" in front.log())
    assert "198.51.100.9" not in front.log()


def test_a_token_counts_in_the_header_only(front: Front) -> None:
    for path in (f"/api/v1/status?token={TOKEN}", f"/api/v1/status?access_token={TOKEN}"):
        assert front.get(path).problem == "no-token"
    cookie = {"Cookie": f"token={TOKEN}; Authorization=Bearer {TOKEN}"}
    assert front.ask("GET", "/api/v1/status", headers=cookie).problem == "no-token"
    until(lambda: "401 GET /api/v1/status" in front.log())
    assert TOKEN not in front.log()


@pytest.mark.parametrize("word", ["", "Bearer", "Bearer ", "Basic YTpi", "Bearer x", f"bearer {TOKEN}x", f"Token {TOKEN}", "Bearer \xe9"])
def test_what_is_no_token_is_told_without_asking_the_guard(front: Front, word: str) -> None:
    answer = front.ask("GET", "/api/v1/status", headers={"Authorization": word})
    assert (answer.status, answer.problem in {"no-token", "bad-token"}) == (401, True)
    assert answer.headers["www-authenticate"].startswith("Bearer")


def test_half_requests_end_in_time_and_nobody_else_waits(front: Front) -> None:
    """Rows S08 and F87: half a head, one byte of it now and then, half a body, and nothing at all."""
    began = seconds()
    opened = [front.connect() for _ in range(60)]
    for place, connection in enumerate(opened):
        connection.sendall((HEAD, b"", b"G", HEAD[:20])[place % 4])
    slow_body = front.connect()
    slow_body.sendall(b"POST /nowhere HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nx")
    took: list[float] = []
    pause = threading.Event()
    dripping = [connection for place, connection in enumerate(opened) if place % 4 == 0]
    while seconds() - began < HEAD_WITHIN_S - 1.0:
        for connection in dripping:
            connection.sendall(b"x")
        at = seconds()
        assert front.get("/livez").status == 200
        took.append(seconds() - at)
        pause.wait(0.5)
    figure("S08 GET beside 60 half requests, worst", max(took))
    assert max(took) < 2.0
    for connection in opened:
        connection.settimeout(HEAD_WITHIN_S)
        assert rest(connection) == b""
        connection.close()
    assert HEAD_WITHIN_S - 1.0 < seconds() - began < HEAD_WITHIN_S + 5.0
    slow_body.settimeout(BODY_WITHIN_S)
    assert rest(slow_body).startswith(b"HTTP/1.1 404 ")
    slow_body.close()


def test_connections_are_bounded_and_the_one_too_many_is_told(front: Front) -> None:
    opened: list[socket.socket] = []
    try:
        for _ in range(MOST_CONNECTIONS):
            opened.append(front.connect())
            opened[-1].sendall(b"G")
        said = b""
        while b"503" not in said and len(opened) < MOST_CONNECTIONS + 20:
            opened.append(front.connect())
            opened[-1].settimeout(1.0)
            try:
                said = opened[-1].recv(65536)
            except TimeoutError:
                said = b""
        assert b"HTTP/1.1 503 Service Unavailable\r\n" in said
        assert b"urn:heatwarden:problem:busy" in said
        assert len(opened) <= MOST_CONNECTIONS + 2
    finally:
        for connection in opened:
            connection.close()
    until(lambda: _lives(front))


def _lives(front: Front) -> bool:
    try:
        return front.get("/livez").status == 200
    except OSError:
        return False


@pytest.mark.parametrize("size", [LARGEST_HEAD, 60_000, 500_000])
def test_a_head_is_bounded(front: Front, size: int) -> None:
    connection = front.connect()
    try:
        connection.sendall(HEAD + b"X-Long: " + b"a" * size + b"\r\n\r\n")
        said = connection.recv(65536)
    except (BrokenPipeError, ConnectionResetError):
        said = b""
    assert not said or said.split()[1] in {b"400", b"431"}
    connection.close()
    assert front.get("/livez").status == 200


@pytest.mark.parametrize(
    "sent",
    [
        b"\x16\x03\x01\x02\x00\x01\x00",
        b"GET\r\n\r\n",
        b"GET /livez HTTP/1.1\r\n\r\n",
        b"GET /livez HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\n\r\n",
        b"POST /livez HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nx",
        b"POST /livez HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\nx",
        b"POST /livez HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET /\xff HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET /a\x00b HTTP/1.1\r\nHost: localhost\r\n\r\n",
    ],
)
def test_what_is_no_http_gets_a_problem_and_its_connection_ends(front: Front, sent: bytes) -> None:
    connection = front.connect()
    connection.sendall(sent)
    said = rest(connection)
    assert said.split()[1] in {b"400", b"404", b"405"}, said
    assert b"urn:heatwarden:problem:" in said
    connection.close()
    assert "Traceback" not in front.log()


def test_large_bodies_are_refused_before_they_are_held(front: Front) -> None:
    """Row S09: by their length, and without a length as soon as they are too large; nobody without a good token is even listened to."""
    before = rss_mb(front)
    answer = front.ask("POST", "/api/v1/readings", headers={"Content-Length": str(MOST_BYTES + 1), "Content-Type": "application/json"})
    assert (answer.status, answer.problem) == (413, "too-large")
    with ThreadPoolExecutor(8) as pool:
        assert {said.split()[1] for said in pool.map(lambda _: _flood(front), range(8))} == {b"401"}
    figure("S09 growth of the front by 8 endless uploads, MB", rss_mb(front) - before)
    assert rss_mb(front) - before < 40


def _flood(front: Front) -> bytes:
    """Send up to 200 MB in pieces, without a token."""
    connection = front.connect()
    connection.sendall(b"POST /api/v1/readings HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n")
    piece = b"10000\r\n" + b"x" * 65536 + b"\r\n"
    said = connection.recv(65536)
    try:
        for _ in range(3200):
            connection.sendall(piece)
    except (BrokenPipeError, ConnectionResetError):
        pass
    connection.close()
    return said


def test_a_refused_body_that_goes_on_coming_is_cut_off_soon(front: Front) -> None:
    with front.connect() as connection:
        connection.sendall(b"POST /nowhere HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n\r\nx")
        began = seconds()
        assert rest(connection).startswith(b"HTTP/1.1 404 ")
        assert seconds() - began < 6.0


def test_idle_connections_are_kept_for_some_time_and_not_for_ever(front: Front) -> None:
    with front.connect() as connection:
        for _ in range(3):
            alive(connection)
        began = seconds()
        connection.settimeout(30)
        assert rest(connection) == b""
        assert 10 < seconds() - began < 25


def test_an_answer_on_a_kept_connection_waits_for_no_acknowledgement(front: Front) -> None:
    took = []
    with front.connect() as connection:
        for _ in range(60):
            began = seconds()
            alive(connection)
            took.append(seconds() - began)
    figure("GET /livez on a kept connection, median", sorted(took)[30])
    assert sorted(took)[30] < 0.025, "Nagle's algorithm against delayed acknowledgements takes 40 ms"


def alive(connection: socket.socket) -> None:
    """One whole request and answer."""
    connection.sendall(HEAD + b"\r\n")
    said = b""
    while b"true}" not in said:
        said += connection.recv(65536)
    assert said.startswith(b"HTTP/1.1 200 OK")


def test_it_ends_at_once_when_told_to(tmp_path: Path) -> None:
    """Row F53, the front by itself: idle, half-open and busy connections."""
    with Front(tmp_path / "config", tmp_path / "state") as front:
        with front.connect() as kept, front.connect() as half:
            alive(kept)
            half.sendall(b"POST /api/v1/readings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10\r\n\r\n")
            code, took = front.stop()
        figure("F53 SIGTERM to a front with open connections, to its end", took)
        assert code == 0
        assert took < 5.0


def test_a_second_front_on_the_same_port_says_so_and_ends(front: Front, tmp_path: Path) -> None:
    second = Front(front.config, tmp_path / "state", None)
    (tmp_path / "state").mkdir()
    second.port = front.port
    second.start()
    assert second.process is not None
    assert second.process.wait(20) == 1
    assert f"cannot listen on 127.0.0.1:{front.port}: Address already in use" in second.log()
