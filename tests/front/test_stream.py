"""The stream of events, and its end. Row F53."""

import contextlib
import http.client
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import orjson
import pytest
from rig.figures import figure
from rig.house import House, house
from rig.workshop import seconds, until

from watchdog.front.tail import MOST_OF_A_TOKEN

pytestmark = pytest.mark.rig

WHO = {"person": "Ada", "reason": "trying the stream"}
PATH = "/api/v1/events/stream"


class Listener:
    """One stream, read in a thread. `heard` are its events as (name, id, data)."""

    def __init__(self, home: House, token: str, query: str = "", last: int | None = None) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", home.front.port, timeout=20)
        headers = {"Authorization": f"Bearer {token}"} | ({} if last is None else {"Last-Event-ID": str(last)})
        self.connection.request("GET", PATH + query, headers=headers)
        self._socket = self.connection.sock
        self.response = self.connection.getresponse()
        self.heard: list[tuple[str, int, Any]] = []
        self.ended = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)

    def _listen(self) -> None:
        fields: dict[str, str] = {}
        try:
            while line := self.response.readline():
                text = line.decode().rstrip("\n")
                if text:
                    name, _, value = text.partition(": ")
                    fields[name] = value
                elif fields:
                    if "data" in fields:
                        self.heard.append((fields.get("event", ""), int(fields.get("id", 0)), orjson.loads(fields["data"])))
                    fields = {}
        except (OSError, ValueError, AttributeError, http.client.HTTPException):
            pass  # closed by the test
        finally:
            self.ended.set()

    def kinds(self) -> list[str]:
        return [data["kind"] for name, _, data in self.heard if name == "event"]

    def __enter__(self) -> Self:
        assert self.response.status == 200, self.response.read()
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Also while the thread waits for more."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self.connection.close()


def cut(home: House, printer: str) -> None:
    assert home.front.post(f"/api/v1/printers/{printer}/trip", WHO, home.tokens["trip"]).status == 200


def newest(home: House) -> int:
    return int(home.front.get("/api/v1/events?limit=1", home.tokens["read"]).json["events"][0]["id"])


def waits(check: Callable[[], Any], within_s: float = 8.0) -> Any:
    return until(check, within_s)


def test_what_is_recorded_is_streamed_within_a_second_once_and_in_order(home: House) -> None:
    with Listener(home, home.tokens["read"]) as listener:
        assert listener.response.getheader("Content-Type", "").startswith("text/event-stream")
        assert listener.response.getheader("Cache-Control") == "no-store"
        at = seconds()
        cut(home, "cinder")
        waits(lambda: "trip" in listener.kinds())
        figure("SSE: trip asked for by POST to its event on a stream", seconds() - at)
        waits(lambda: "cut confirmed" in listener.kinds())
        ids = [number for _, number, _ in listener.heard]
        assert ids == sorted(set(ids))
        assert [data["id"] for _, _, data in listener.heard] == ids


def test_a_stream_goes_on_where_it_broke_off(home: House) -> None:
    cut(home, "bramble")
    waits(lambda: newest(home) > 3)
    end = newest(home)
    with Listener(home, home.tokens["read"], last=end - 2) as listener:
        waits(lambda: [number for _, number, _ in listener.heard][:2] == [end - 1, end])
    with Listener(home, home.tokens["read"], f"?after={end - 1}&printer=no-such-printer") as listener:
        cut(home, "bramble")
        cut(home, "anvil")
        with Listener(home, home.tokens["read"], "?after=0&printer=anvil&kind=trip") as narrow:
            waits(lambda: narrow.heard)
            assert {(data["printer"], data["kind"]) for _, _, data in narrow.heard} == {("anvil", "trip")}
        assert listener.heard == []


def test_a_stream_ends_soon_after_its_token_was_revoked_and_says_why(home: House) -> None:
    token = home.make_token("a listener", "read")
    with Listener(home, token) as listener:
        home.command("token", "revoke", "a listener")
        at = seconds()
        assert listener.ended.wait(8)
        figure("SSE: token revoked to the end of its stream", seconds() - at)
        name, _, data = listener.heard[-1]
        assert (name, data["type"]) == ("end", "urn:heatwarden:problem:bad-token")


def test_streams_of_one_token_are_bounded_and_closed_ones_make_room(home: House) -> None:
    token = home.make_token("many streams", "read")
    opened = [Listener(home, token) for _ in range(MOST_OF_A_TOKEN)]
    answer = home.front.get(PATH, token)
    assert (answer.status, answer.problem) == (429, "too-many")
    assert home.front.get("/api/v1/status", token).status == 200
    for listener in opened:
        listener.close()

    def again() -> bool:
        listener = Listener(home, token)
        listener.close()
        return listener.response.status == 200

    waits(again)


@pytest.mark.parametrize("query", ["after=-1", "after=x", "limit=5", "colour=red"])
def test_a_stream_that_is_not_understood_does_not_begin(home: House, query: str) -> None:
    assert home.front.get(f"{PATH}?{query}", home.tokens["read"]).problem == "not-valid"
    answer = home.front.ask("GET", PATH, token=home.tokens["read"], headers={"Last-Event-ID": "x"})
    assert answer.problem == "not-valid"


def test_a_front_ends_within_five_seconds_with_streams_open_and_leaves_outputs_alone(tmp_path: Path) -> None:
    """Row F53."""
    with house(tmp_path) as home:
        with Listener(home, home.tokens["read"]) as one, Listener(home, home.tokens["all"]) as other:
            code, took = home.front.stop()
            figure("F53 SIGTERM to a front with streams open, to its end", took)
            assert code == 0
            assert took < 5.0
            assert one.ended.wait(2)
            assert other.ended.wait(2)
        assert home.shop.state("anvil") == "protected"
        assert home.shop.plugs["anvil-plug"].off_at_ns() is None


def test_a_guard_that_goes_and_comes_back_is_found_again_by_front_and_streams(tmp_path: Path) -> None:
    with house(tmp_path) as home, Listener(home, home.tokens["read"]) as listener:
        home.shop.guard.kill()
        waits(lambda: home.front.get("/api/v1/status", home.tokens["all"]).status == 503)
        assert home.front.get("/readyz").problem == "guard-away"
        answer = home.front.post("/api/v1/printers/anvil/trip", WHO, home.tokens["trip"])
        assert (answer.status, answer.problem) == (503, "guard-away")
        assert "retry-after" in answer.headers
        home.shop.begin_guard()
        waits(lambda: home.front.get("/api/v1/status", home.tokens["read"]).status == 200, 15)
        assert not listener.ended.is_set()
        cut(home, "anvil")
        waits(lambda: "trip" in listener.kinds(), 15)


def test_a_record_that_is_damaged_or_gone_takes_nothing_but_the_record(tmp_path: Path) -> None:
    with house(tmp_path) as home:
        record = home.shop.guard.state / "record.sqlite"
        kept = record.read_bytes()
        for damage in (lambda: record.write_bytes(b"no database at all" * 1000), lambda: record.write_bytes(b""), record.unlink):
            damage()
            for path in ("/api/v1/events", "/api/v1/trips", "/api/v1/trips/1", PATH):
                answer = home.front.get(path, home.tokens["read"])
                assert (answer.status, answer.problem) == (503, "record-unreadable")
            assert home.front.get("/api/v1/status", home.tokens["read"]).status == 200
            record.write_bytes(kept)
