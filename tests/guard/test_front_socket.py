"""The second socket outlives its clients: those that send garbage, those that send nothing, and those that come in crowds."""

import socket
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from rig.front_by_hand import FrontByHand
from rig.front_client import FrontClient
from rig.workshop import seconds, until

from watchdog.core.inputs import Reading
from watchdog.guard import front_socket
from watchdog.guard.front_socket import MOST_CLIENTS
from watchdog.wire.front import MAX_LINE


@pytest.fixture
def front(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FrontByHand]:
    monkeypatch.setattr(front_socket, "LINE_WITHIN_S", 0.2)
    monkeypatch.setattr(front_socket, "READ_WITHIN_S", 0.2)
    with FrontByHand(tmp_path) as front:
        yield front


def answers(front: FrontByHand) -> bool:
    with front.client() as client:
        return bool(client.json(ask="readiness")["ok"])


def hung_up(client: FrontClient, sent: bytes) -> bool:
    """Whether this cannot be sent, or not in time."""
    try:
        client.socket.sendall(sent)
    except OSError:
        return True
    return False


def free_again(front: FrontByHand) -> None:
    """Every place is free."""
    assert front.service._socket is not None
    places = front.service._socket._server._places
    until(lambda: places._value == MOST_CLIENTS)


def test_it_is_for_the_guards_group_and_for_nobody_else(front: FrontByHand) -> None:
    assert stat.S_IMODE(front.path.stat().st_mode) == 0o660


def test_one_connection_carries_many_requests_one_after_the_other(front: FrontByHand) -> None:
    with front.client() as client:
        client.socket.sendall(b'{"ask":"readiness"}\n' * 20 + b'{"ask":')
        assert [client.reply()["ok"] for _ in range(20)] == [True] * 20
        assert client.raw(b'"verify"}\n')["kind"] == "no token"


def test_garbage_is_answered_and_the_next_request_too(front: FrontByHand, dice: Random) -> None:
    with front.client() as client:
        for _ in range(50):
            garbage = dice.randbytes(dice.randint(0, 3000)).replace(b"\n", b"")
            assert client.raw(garbage + b"\n")["kind"] == "bad request"
        assert client.json(ask="readiness")["ok"]


def test_a_line_of_a_megabyte_is_refused_and_not_collected(front: FrontByHand) -> None:
    with front.client() as client:
        assert hung_up(client, b"x" * 1024 * 1024), "all of it was taken"
    with front.client() as client:
        client.socket.sendall(b"x" * (MAX_LINE + 1))
        assert client.reply()["kind"] == "bad request"
        assert client.ended()
    assert answers(front)


def test_half_a_line_is_waited_for_as_long_as_a_line_may_take_however_it_drips(front: FrontByHand) -> None:
    with front.client() as client:
        began = seconds()
        until(lambda: hung_up(client, b" "), 2.0)
        assert seconds() - began >= 0.15
    free_again(front)
    assert answers(front)


def test_who_does_not_read_the_answers_is_dropped(front: FrontByHand) -> None:
    token = front.token("tablet", "read")
    with front.client() as client:
        client.socket.settimeout(0.1)
        line = b'{"ask":"status","token":"' + token.encode() + b'"}\n'
        assert any(hung_up(client, line) for _ in range(5000))  # nothing more can be sent, as nothing is taken
        free_again(front)
    assert answers(front)


def test_clients_that_vanish_leave_nothing_behind(front: FrontByHand) -> None:
    threads = threading.active_count()
    for number in range(60):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
            client.connect(str(front.path))
            client.sendall((b"", b'{"ask":', b'{"ask":"readiness"}\n')[number % 3])
    free_again(front)
    until(lambda: threading.active_count() <= threads)
    assert answers(front)


def test_a_hundred_at_once_are_served_or_told_and_the_loop_goes_on(front: FrontByHand) -> None:
    clients: list[FrontClient] = []
    lock = threading.Lock()

    def come() -> None:
        client = front.client()
        with lock:
            clients.append(client)

    comers = [threading.Thread(target=come) for _ in range(100)]
    for comer in comers:
        comer.start()
    for comer in comers:
        comer.join()
    front.hand.standing.inbox.reading(Reading("anvil", "bed", front.hand.at, 61.0, 60.0))
    until(lambda: front.hand.guard.loop.judged)
    kinds = []
    for client in clients:
        hung_up(client, b'{"ask":"readiness"}\n')  # who was told already cannot send any more
        reply = client.reply()
        kinds.append(reply.get("kind", "served" if reply["ok"] else "?"))
    assert set(kinds) == {"served", "busy"}
    assert kinds.count("served") == MOST_CLIENTS
    for client in clients:
        client.close()
    free_again(front)
    assert answers(front)


def test_a_fault_in_an_answer_ends_one_connection_and_no_more(front: FrontByHand, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: bytes) -> bytes:
        raise RuntimeError("on purpose")

    assert front.service._socket is not None
    server = front.service._socket._server
    with monkeypatch.context() as patch:
        patch.setattr(server, "_answer", fail)
        with front.client() as client:
            client.socket.sendall(b'{"ask":"readiness"}\n')
            assert client.ended()
    free_again(front)
    assert answers(front)


def test_a_socket_that_was_taken_away_comes_back(front: FrontByHand) -> None:
    front.path.unlink()
    front.service.tend()
    assert answers(front)


def test_a_place_that_cannot_be_used_is_told_once_and_costs_nothing_else(tmp_path: Path) -> None:
    with FrontByHand(tmp_path) as front:
        front.service.stop()
        front.service._socket = None
        missing = tmp_path / "gone"
        front.service._path = missing / "front.sock"
        front.service.tend()
        front.service.tend()
        until(lambda: front.told("nobody gets in through the front"))
        assert len(front.told("nobody gets in through the front")) == 1
        missing.mkdir()
        front.service.tend()
        with FrontClient(missing / "front.sock") as client:
            assert client.json(ask="readiness")["ok"]


def test_nothing_of_it_is_loaded_before_the_guard_is_armed() -> None:
    """A start must not take longer for what only clients need."""
    late = ["front_desk", "front_socket", "status_share", "token_file", "tokens", "turnstile"]
    ask = f"import sys, watchdog.wiring; print(*[name for name in {late!r} if f'watchdog.guard.{{name}}' in sys.modules])"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.split() == []
