"""Every route against the real guard, its record and a real client."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.figures import figure
from rig.house import House
from rig.workshop import seconds, until

from watchdog.front.models import Events, Trips, TripStory
from watchdog.front.routes_acts import Released, Tripped
from watchdog.front.routes_readings import Taken
from watchdog.front.status_models import Printer, Printers, Status

pytestmark = pytest.mark.rig

pause = threading.Event()
WHO = {"person": "Ada", "reason": "trying it out"}


def warm(home: House, printer: str, temperature_c: float = 21.0, **more: Any) -> dict[str, Any]:
    """Push one reading; what became of it."""
    item = {"printer": printer, "heater": "bed", "temperature_c": temperature_c, "target_c": 0.0, **more}
    answer = home.front.post("/api/v1/readings", item, home.tokens["report"])
    assert answer.status == 200, answer
    Taken.model_validate(answer.json)
    told: dict[str, Any] = answer.json
    return told


def page(home: House, path: str) -> dict[str, Any]:
    answer = home.front.get(path, home.tokens["read"])
    assert answer.status == 200, answer
    found: dict[str, Any] = answer.json
    return found


def test_the_status_is_the_guards_own_and_as_described(home: House) -> None:
    told = page(home, "/api/v1/status")
    Status.model_validate(told)
    assert told.keys() == home.shop.guard.status().keys()
    assert [printer["name"] for printer in told["printers"]] == ["anvil", "bramble", "cinder"]
    Printers.model_validate(page(home, "/api/v1/printers"))
    one = page(home, "/api/v1/printers/anvil")
    Printer.model_validate(one)
    assert (one["name"], one["state"]) == ("anvil", "protected")
    assert home.front.get("/api/v1/printers/no-such-printer", home.tokens["read"]).problem == "unknown-printer"


def test_a_pushed_reading_is_what_the_guard_sees(home: House) -> None:
    assert warm(home, "cinder", 23.5) == {"accepted": 1, "refused": [], "refused_count": 0}
    until(lambda: home.shop.heater("cinder")["temperature_c"] == 23.5)


def test_readings_are_taken_one_by_one_in_a_list_and_in_lines_and_each_refusal_is_named(home: House) -> None:
    good = {"printer": "cinder", "heater": "bed", "temperature_c": 22.0}
    mixed = [
        good,
        {**good, "heater": "nozzle"},
        7,
        {**good, "temperature_c": "hot"},
        {**good, "printer": "anvil"},
        {**good, "temperature_c": 22.1},
    ]
    listed = home.front.post("/api/v1/readings", mixed, home.tokens["report"]).json
    lines = b"\n".join(orjson.dumps(item) for item in mixed) + b"\n\nnonsense\n"
    for media_type in ("application/jsonl", "application/x-ndjson; charset=utf-8"):
        lined = home.front.post("/api/v1/readings", lines, home.tokens["report"], media_type).json
        assert lined["refused"][:-1] == listed["refused"]
        assert lined["refused"][-1] == {"index": 6, "why": "this line is not JSON"}
        assert (lined["accepted"], lined["refused_count"]) == (listed["accepted"], 5)
    assert listed["accepted"] == 2
    assert [one["index"] for one in listed["refused"]] == [1, 2, 3, 4]
    assert all(one["why"] for one in listed["refused"])


def test_a_large_batch_is_taken_whole(home: House) -> None:
    items = [{"printer": "cinder", "heater": "bed", "temperature_c": 22.0 + place % 5 / 10} for place in range(1700)]
    items[1234] = {"printer": "cinder", "heater": "no-such-heater", "temperature_c": 1.0}
    answer = home.front.post("/api/v1/readings", items, home.tokens["report"])
    assert answer.status == 200, answer
    assert (answer.json["accepted"], [one["index"] for one in answer.json["refused"]]) == (1699, [1234])


@pytest.mark.parametrize(
    ("media_type", "body", "status", "problem"),
    [
        ("text/plain", b"{}", 415, "media-type"),
        ("", b"{}", 415, "media-type"),
        ("application/x-www-form-urlencoded", b"a=b", 415, "media-type"),
        ("application/json", b"{", 400, "bad-request"),
        ("application/json", b"[NaN]", 400, "bad-request"),
        ("application/json", b"\xff", 400, "bad-request"),
        ("application/json", b"[" * 9000, 400, "bad-request"),
        ("application/json", b"[" * 200_000, 413, "too-large"),
        ("application/json", b"[" + b"{}," * 20_000 + b"{}]", 413, "too-large"),
        ("application/json", b" " * 8_400_000, 413, "too-large"),
    ],
    ids=["text", "no type", "form", "half", "NaN", "no UTF-8", "deep", "deeper", "many", "large"],
)
def test_bodies_that_cannot_be_readings_are_refused_whole(home: House, media_type: str, body: bytes, status: int, problem: str) -> None:
    answer = home.front.post("/api/v1/readings", body, home.tokens["report"], media_type)
    assert (answer.status, answer.problem) == (status, problem)


def test_a_compressed_body_is_not_unpacked(home: House) -> None:
    """Row S09."""
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    answer = home.front.ask("POST", "/api/v1/readings", token=home.tokens["report"], body=b"\x1f\x8b" + b"x" * 100, headers=headers)
    assert (answer.status, answer.problem) == (415, "media-type")


def test_a_flood_of_large_bodies_is_turned_away_and_takes_no_more_memory_than_the_unit_allows(home: House) -> None:
    """Rows S09 and F87, by somebody whose token is good."""
    body = orjson.dumps([{"printer": "cinder", "heater": "bed", "temperature_c": 21.0, "pad": "x" * 700}] * 9_900)
    until_s = seconds() + 4.0

    def flood(_: int) -> set[int]:
        statuses = set()
        while seconds() < until_s:
            try:
                statuses.add(home.front.post("/api/v1/readings", body, home.tokens["report"]).status)
            except OSError:
                statuses.add(0)  # cut off while it was still sending
        return statuses

    took = []
    with ThreadPoolExecutor(4) as pool:
        floods = pool.map(flood, range(4))
        while seconds() < until_s:
            began = seconds()
            assert home.front.get("/api/v1/status", home.tokens["read"]).status == 200
            took.append(seconds() - began)
            pause.wait(0.05)
        assert set().union(*floods) <= {0, 200, 503}
    assert home.front.process is not None
    lines = Path(f"/proc/{home.front.process.pid}/status").read_text().splitlines()
    peak_mb = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
    figure("F87 status under 4 floods of 8 MB bodies, median", sorted(took)[len(took) // 2])
    figure("F87 peak memory of the front, MB", peak_mb)
    assert peak_mb < 240
    assert sorted(took)[len(took) // 2] < 1.0


def test_names_that_nobody_configured_leave_nothing_behind(home: House) -> None:
    """Row S28."""
    items = [{"printer": f"p{place}", "heater": f"h{place}", "temperature_c": 20.0} for place in range(3000)]
    before = len(page(home, "/api/v1/printers")["printers"])
    told = home.front.post("/api/v1/readings", items, home.tokens["report"]).json
    assert (told["accepted"], told["refused_count"], len(told["refused"])) == (0, 3000, 1000)
    assert len(page(home, "/api/v1/printers")["printers"]) == before
    assert not [event for event in page(home, "/api/v1/events?limit=200")["events"] if event["printer"].startswith("p")]


def test_a_trip_by_hand_cuts_is_told_step_by_step_and_is_reset_by_a_person(home: House) -> None:
    warm(home, "bramble")
    until(lambda: home.shop.state("bramble") == "protected")
    t0 = seconds()
    answer = home.front.post("/api/v1/printers/bramble/trip", WHO, home.tokens["trip"])
    assert answer.status == 200, answer
    Tripped.model_validate(answer.json)
    assert home.shop.off_after_s("bramble-plug", t0) < 2.0
    assert (answer.json["already"], answer.json["relays"]) == (False, ["bramble-plug"])
    assert home.front.post("/api/v1/printers/bramble/trip", WHO, home.tokens["trip"]).json["already"] is True
    listed = until(lambda: page(home, "/api/v1/trips?printer=bramble&kind=by%20hand")["trips"])[0]
    assert listed["trip"] == answer.json["trip"]
    assert "Ada by token 'the trip one'" in str(until(lambda: _told(home, listed["id"], "trip"))["events"])
    until(lambda: _told(home, listed["id"], "cut confirmed"))
    warm(home, "bramble", 21.2)
    refused = home.front.post("/api/v1/printers/anvil/reset", WHO, home.tokens["reset"])
    assert (refused.status, refused.problem) == (409, "refused")
    assert refused.json["detail"]
    released = until(lambda: (warm(home, "bramble", 21.1), home.front.post("/api/v1/printers/bramble/reset", WHO, home.tokens["reset"]))[1])
    assert released.status == 200, released
    Released.model_validate(released.json)
    assert until(lambda: page(home, f"/api/v1/trips/{listed['id']}")["trip"]["reset_by"]) == "Ada by token 'the reset one'"


def _told(home: House, number: int, kind: str) -> Any:
    """The story of a trip, once an event of this kind is in it."""
    story = page(home, f"/api/v1/trips/{number}")
    TripStory.model_validate(story)
    return story if kind in {event["kind"] for event in story["events"]} else None


@pytest.mark.parametrize("act", ["trip", "reset"])
@pytest.mark.parametrize(
    ("body", "status", "problem"),
    [
        ({}, 422, "not-valid"),
        ([], 422, "not-valid"),
        ({"person": "Ada"}, 422, "not-valid"),
        ({"person": "", "reason": "x"}, 422, "not-valid"),
        ({"person": "Ada", "reason": 7}, 422, "not-valid"),
        ({"person": "Ada", "reason": "x", "force": True}, 422, "not-valid"),
        ({"person": "Ada", "reason": "x" * 501}, 422, "not-valid"),
        ({"person": " ", "reason": " "}, 400, "bad-request"),
        (b"person=Ada", 400, "bad-request"),
        (b" " * 20_000, 413, "too-large"),
    ],
)
def test_an_act_without_a_person_and_a_reason_is_no_act(home: House, act: str, body: Any, status: int, problem: str) -> None:
    before = home.shop.guard.printer("cinder")["latch"]
    answer = home.front.post(f"/api/v1/printers/cinder/{act}", body, home.tokens["all"])
    assert (answer.status, answer.problem) == (status, problem)
    assert (home.shop.guard.printer("cinder")["latch"] or {}).get("trip") == (before or {}).get("trip")
    if problem == "not-valid":
        assert all({"where", "what"} == error.keys() for error in answer.json["errors"])


def test_an_act_on_a_printer_that_is_not_there_is_told_so(home: House) -> None:
    answer = home.front.post("/api/v1/printers/no-such-printer/trip", WHO, home.tokens["trip"])
    assert (answer.status, answer.problem) == (404, "unknown-printer")


def test_pages_of_events_join_without_a_gap_and_without_a_repetition(home: House) -> None:
    whole = page(home, "/api/v1/events?limit=200")["events"]
    assert len(whole) >= 4
    found: list[Any] = []
    path: str | None = "/api/v1/events?limit=3"
    while path and len(found) < len(whole) + 50:
        answer = home.front.get(path, home.tokens["read"])
        Events.model_validate(answer.json)
        found += answer.json["events"]
        path = answer.json["next"]
        assert answer.headers.get("link", "") == (f'<{path}>; rel="next"' if path else "")
    ids = [event["id"] for event in found]
    assert ids == sorted(set(ids), reverse=True)
    assert set(ids) >= {event["id"] for event in whole}
    for event in found:
        moment = datetime.fromisoformat(event["at"]["time"])
        assert moment.utcoffset() is not None
        assert event["at"]["time"].endswith("+00:00")


def test_filters_leave_exactly_what_fits(home: House) -> None:
    everything = page(home, "/api/v1/events?limit=200")["events"]
    for key in ("printer", "kind", "level"):
        for value in {event[key] for event in everything if event[key]}:
            found = page(home, f"/api/v1/events?limit=200&{key}={value.replace(' ', '%20')}")["events"]
            assert {event[key] for event in found} == {value}
            assert [event["id"] for event in found if event["id"] <= everything[0]["id"]] == [
                event["id"] for event in everything if event[key] == value
            ]
    middle = everything[len(everything) // 2]["at"]["time"].replace("+", "%2B")
    late = page(home, f"/api/v1/events?limit=200&since={middle}")["events"]
    early = page(home, f"/api/v1/events?limit=200&until={middle}")["events"]
    assert {event["id"] for event in late} & {event["id"] for event in early} == set()
    assert {event["id"] for event in late + early} >= {event["id"] for event in everything}
    Trips.model_validate(page(home, "/api/v1/trips?limit=1"))


@pytest.mark.parametrize(
    "query",
    [
        "limit=0", "limit=201", "limit=x", "before=0", "before=9223372036854775808", "level=loud", "since=yesterday",
        "since=2026-11-25T14:00:00", "since=0001-01-01T00:00:00%2B14:00", "until=1e999", "colour=red", f"printer={'x' * 41}", "token=hw_x",
    ],
)  # fmt: skip
def test_a_question_that_is_not_understood_is_no_question(home: House, query: str) -> None:
    answer = home.front.get(f"/api/v1/events?{query}", home.tokens["read"])
    assert (answer.status, answer.problem) == (422, "not-valid")
    assert answer.json["errors"][0]["where"].startswith("query.")


def test_ready_means_that_every_printer_is_protected_and_otherwise_the_reasons_are_told(home: House) -> None:
    warm(home, "bramble")
    warm(home, "cinder")
    assert until(lambda: (warm(home, "bramble"), warm(home, "cinder"), home.front.get("/readyz").status == 200)[2])
    home.front.post("/api/v1/printers/cinder/trip", WHO, home.tokens["trip"])
    until(lambda: home.front.get("/readyz").status == 503)
    answer = home.front.get("/readyz")
    assert answer.problem == "not-ready"
    assert "cinder was tripped and is latched: tripped by hand" in answer.json["reasons"]
    assert not any(word in answer.body.decode() for word in WHO.values())
