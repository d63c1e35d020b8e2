"""What the second socket answers, over a whole guard in this process."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.front_by_hand import FrontByHand
from rig.front_client import FrontClient
from rig.workshop import seconds, until

from watchdog.guard import front_desk
from watchdog.guard.front_desk import CHUNK
from watchdog.guard.inbox import Question
from watchdog.guard.status_share import FRESH_S
from watchdog.guard.token_file import NAME
from watchdog.guard.turnstile import LEAST_REST_S, REST, Pace, Turnstile

ACT = {"printer": "anvil", "person": "Ada", "reason": "it smells"}


@pytest.fixture
def front(tmp_path: Path) -> Iterator[FrontByHand]:
    with FrontByHand(tmp_path) as front:
        front.hand.hear()
        yield front


@pytest.fixture
def client(front: FrontByHand) -> Iterator[FrontClient]:
    with front.client() as client:
        yield client


def test_status_is_that_of_the_first_socket(front: FrontByHand, client: FrontClient) -> None:
    found = client.json(ask="status", token=front.token("tablet", "read"))["status"]
    assert found.keys() == front.hand.status().keys()
    assert [printer["name"] for printer in found["printers"]] == ["anvil", "bramble", "cinder"]


def test_a_token_of_one_printer_sees_and_does_no_more(front: FrontByHand, client: FrontClient) -> None:
    token = front.token("only anvil", printers=("anvil",))
    found = client.json(ask="status", token=token)["status"]
    assert [printer["name"] for printer in found["printers"]] == ["anvil"]
    assert [relay["name"] for relay in found["relays"]] == ["anvil-plug"]
    assert b"bramble" not in orjson.dumps([found["printers"], found["relays"], found["failed_checks"]])
    assert client.json(ask="verify", token=token)["printers"] == ["anvil"]
    for ask in ("trip", "reset"):
        for printer in ("bramble", "nobody"):
            assert client.json(ask=ask, token=token, **(ACT | {"printer": printer}))["kind"] == "no scope"
    items = [{"printer": name, "heater": "bed", "temperature_c": 60.0} for name in ("bramble", "anvil", "cinder")]
    reply = client.json(ask="readings", token=token, readings=items)
    assert (reply["accepted"], [refused["index"] for refused in reply["refused"]]) == (1, [0, 2])
    assert [item["printer"] for item in front.taken] == ["anvil"]
    assert front.hand.latched() == {}


def test_readings_keep_their_places_and_go_in_small_pieces(
    front: FrontByHand, client: FrontClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes: list[int] = []
    take = front.take

    def measured(items: list[Any]) -> Any:
        sizes.append(len(items))
        return take(items)

    monkeypatch.setattr(front.service._desk, "_take", measured)
    items = [{"printer": "anvil", "heater": "bed", "temperature_c": 0.0 if place % 100 == 7 else 60.0} for place in range(500)]
    reply = client.json(ask="readings", token=front.token("oven", "report"), readings=items)
    assert reply["accepted"] == 495
    assert reply["refused"] == [{"index": place, "why": "nothing in it"} for place in range(7, 500, 100)]
    assert max(sizes) == CHUNK
    assert front.taken == items


def test_acts_are_done_and_on_record_with_person_and_token(front: FrontByHand, client: FrontClient) -> None:
    token = front.token("bench tablet", "trip", "reset")
    reply = client.json(ask="trip", token=token, **ACT)
    assert (reply["ok"], reply["already"], reply["relays"]) == (True, False, ["anvil-plug"])
    assert front.hand.latched() == {"anvil": "by hand"}
    until(lambda: client.json(ask="reset", token=token, **ACT, vouched=True, unread=True)["ok"])
    (trip,) = [event for event in front.hand.events() if event.kind == "trip"]
    assert "Ada by token 'bench tablet'" in trip.sentence


def test_what_the_guard_refuses_is_told_as_its_refusal(front: FrontByHand, client: FrontClient) -> None:
    token = front.token("bench tablet", "trip", "reset")
    refused = client.json(ask="reset", token=token, **ACT)
    assert (refused["kind"], "not latched" in refused["error"] or "nothing" in refused["error"]) == ("refused", True), refused
    refused = client.json(ask="trip", token=token, **(ACT | {"printer": "\x1bnobody"}))
    assert refused["kind"] == "unknown printer"
    assert "\x1b" not in refused["error"]


def test_a_trip_is_not_refused_for_the_length_or_the_letters_of_its_reason(front: FrontByHand, client: FrontClient) -> None:
    act = {"printer": "anvil", "person": "A" * 5000, "reason": "\n\x1b[2J\u202e" + 100_000 * "!"}
    assert client.json(ask="trip", token=front.token("tablet", "trip"), **act)["ok"]
    latch = front.hand.guard.engine.site.printers["anvil"].latch
    assert latch is not None
    assert len(latch.reason) < 1000
    assert latch.reason.isprintable()


def test_readiness_needs_no_token_and_says_why_not(front: FrontByHand, client: FrontClient) -> None:
    reasons = client.json(ask="readiness")["reasons"]
    (front.state / NAME).write_text("{")
    found = client.json(ask="readiness")
    assert (found["ok"], found["ready"]) == (True, False)
    assert found["reasons"] == [*reasons, f"no token is good: {NAME} is damaged"]
    assert len([event for event in front.events if "NO TOKEN IS GOOD" in event.sentence]) <= 1
    until(lambda: front.told("NO TOKEN IS GOOD"))
    client.json(ask="readiness")
    assert len(front.told("NO TOKEN IS GOOD")) == 1


def test_a_loop_that_does_not_turn_makes_busy_and_a_reset_is_withdrawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reset that somebody was told had not been done must never be done later; a trip must."""
    monkeypatch.setattr(front_desk, "ANSWER_WITHIN_S", 0.05)
    front = FrontByHand(tmp_path)
    front.service.start()
    token = front.token("tablet")
    with front.client() as client:
        assert client.json(ask="status", token=token)["kind"] == "busy"
        assert client.json(ask="readiness")["reasons"] == ["the guard's loop does not answer: it is busy or stuck"]
        assert client.json(ask="trip", token=token, **ACT)["kind"] == "busy"
        assert "nothing was done" in client.json(ask="reset", token=token, **ACT, unread=True, vouched=True)["error"]
    front.hand.guard.loop.turn()
    assert front.hand.latched() == {"anvil": "by hand"}
    front.end()


def test_many_who_ask_at_once_share_one_status(front: FrontByHand, monkeypatch: pytest.MonkeyPatch) -> None:
    token = front.token("tablet", "read")
    asked: list[Question] = []
    ask = front.hand.standing.inbox.ask

    def counted(question: Question) -> None:
        asked.append(question)
        ask(question)

    monkeypatch.setattr(front.hand.standing.inbox, "ask", counted)

    def look() -> None:
        with front.client() as client:
            for _ in range(5):
                assert client.json(ask="status", token=token)["ok"]

    began = seconds()
    together(look, 12)
    assert len(asked) <= 2 + (seconds() - began) / FRESH_S


class Pause:
    """In place of an event that is waited on: only notes for how long."""

    def __init__(self) -> None:
        self.waited: list[float] = []

    def wait(self, timeout: float) -> bool:
        self.waited.append(round(timeout, 6))
        return False


def together(work: Callable[[], None], count: int) -> None:
    threads = [threading.Thread(target=work) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def test_behind_the_turnstile_there_is_one_at_a_time_and_rest_after_it(monkeypatch: pytest.MonkeyPatch) -> None:
    at = 100.0
    turnstile, pause = Turnstile(lambda: at), Pause()
    monkeypatch.setattr(turnstile, "_pause", pause)
    inside, most = 0, 0

    def work() -> None:
        nonlocal inside, most
        for _ in range(200):
            with turnstile:
                inside += 1
                most = max(most, inside)
                inside -= 1

    together(work, 8)
    assert most == 1
    with turnstile:
        at += 0.001
    with turnstile:
        pass
    assert pause.waited[-1] == pytest.approx(REST * 0.001 + LEAST_REST_S)


def test_acts_of_one_token_wait_for_each_other_and_those_of_another_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    at = 100.0
    pace, pause = Pace(lambda: at, 0.2, 0.5), Pause()
    monkeypatch.setattr(pace, "_pause", pause)
    assert [pace.wait("tablet") for _ in range(5)] == [True, True, True, False, False]
    assert pace.wait("phone")
    assert pause.waited == [0.2, 0.4]
    at += 10.0
    assert pace.wait("tablet")
    assert set(pace._free_at) == {"tablet"}
