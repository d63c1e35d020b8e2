"""Rows S03 and F27: who may do what. The matrix is made from the routes that there are: a new one without an entry fails."""

from typing import Any

import pytest
from rig.house import House
from rig.workshop import seconds, until

from watchdog.front.app import make_app
from watchdog.front.described import document
from watchdog.front.plan import plan_of
from watchdog.settings.model import Front
from watchdog.wire.front import SCOPES

pytestmark = pytest.mark.rig

ACT = {"person": "Ada", "reason": "trying the doors"}
BODIES: dict[str, Any] = {"/api/v1/readings": [], "/api/v1/printers/{name}/trip": ACT, "/api/v1/printers/{name}/reset": ACT}
NEEDS: dict[tuple[str, str], str | None] = {
    ("GET", "/livez"): None,
    ("GET", "/readyz"): None,
    ("GET", "/api/v1/openapi.json"): "",
    ("GET", "/api/v1/status"): "read",
    ("GET", "/api/v1/printers"): "read",
    ("GET", "/api/v1/printers/{name}"): "read",
    ("GET", "/api/v1/events"): "read",
    ("GET", "/api/v1/events/stream"): "read",
    ("GET", "/api/v1/trips"): "read",
    ("GET", "/api/v1/trips/{id}"): "read",
    ("POST", "/api/v1/readings"): "report",
    ("POST", "/api/v1/printers/{name}/trip"): "trip",
    ("POST", "/api/v1/printers/{name}/reset"): "reset",
}
"""The scope of every route; an empty one: any good token; None: none at all."""


def routes(tmp_path: Any) -> set[tuple[str, str]]:
    described = document(make_app(plan_of(Front(), tmp_path)))["paths"]
    return {(method.upper(), path) for path, methods in described.items() for method in methods}


def test_every_route_has_its_entry_and_no_other_exists(tmp_path: Any) -> None:
    assert routes(tmp_path) == set(NEEDS)
    app = make_app(plan_of(Front(), tmp_path))
    hidden = [route for route in app.router.routes if not getattr(route, "include_in_schema", True)]
    assert hidden == []


def test_the_document_names_the_scope_of_each_route(tmp_path: Any) -> None:
    described = document(make_app(plan_of(Front(), tmp_path)))["paths"]
    for (method, path), scope in NEEDS.items():
        security = described[path][method.lower()].get("security")
        assert security == (None if scope is None else [{"token": [scope] if scope else []}]), path


def ask(home: House, method: str, path: str, token: str) -> Any:
    place = path.format(name="bramble", id=999_999_999)
    if method == "GET":
        return home.front.get(place, token)
    return home.front.post(place, BODIES[path], token)


@pytest.mark.parametrize(("method", "path"), [key for key, scope in NEEDS.items() if scope is not None], ids=" ".join)
@pytest.mark.parametrize("kind", ["", "none of it", *SCOPES, "all"])
def test_a_route_opens_to_its_own_scope_and_to_no_other(home: House, method: str, path: str, kind: str) -> None:
    wanted = NEEDS[method, path]
    allowed = kind == "all" or (kind in SCOPES and wanted in ("", kind))
    if path.endswith("/stream") and allowed:
        return  # it would not end: tests of their own
    answer = ask(home, method, path, home.tokens.get(kind, ""))
    if allowed:
        assert answer.status not in {401, 403, 429}, answer
    elif kind in SCOPES:
        assert (answer.status, answer.problem) == (403, "no-scope")
        assert answer.json["scope"] == wanted
        assert repr(wanted) in answer.json["detail"]
    elif kind == "":
        assert (answer.status, answer.problem) == (401, "no-token")
    else:
        assert answer.status in {401, 429}, answer
        assert answer.status == 429 or answer.headers["www-authenticate"].endswith('error="invalid_token"')


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS"])
@pytest.mark.parametrize("act", ["trip", "reset"])
def test_no_act_is_ever_done_by_another_method_than_post(home: House, method: str, act: str) -> None:
    before = home.shop.state("bramble")
    answer = home.front.ask(method, f"/api/v1/printers/bramble/{act}?person=Ada&reason=x", token=home.tokens["all"])
    assert answer.status == 405
    assert answer.headers["allow"] == "POST"
    assert home.shop.state("bramble") == before


def test_a_token_for_one_printer_sees_and_touches_no_other(home: House) -> None:
    token = home.make_token("only cinder", *SCOPES, printer="cinder")
    home.front.post("/api/v1/printers/bramble/trip", ACT, home.tokens["trip"])
    until(lambda: home.front.get("/api/v1/trips?printer=bramble", home.tokens["read"]).json["trips"])
    bramble = home.front.get("/api/v1/trips?printer=bramble", home.tokens["read"]).json["trips"][0]
    assert [printer["name"] for printer in home.front.get("/api/v1/printers", token).json["printers"]] == ["cinder"]
    assert home.front.get("/api/v1/printers/bramble", token).problem == "unknown-printer"
    assert home.front.get("/api/v1/trips", token).json["trips"] == []
    assert home.front.get("/api/v1/trips?printer=bramble", token).json["trips"] == []
    assert home.front.get(f"/api/v1/trips/{bramble['id']}", token).problem == "unknown-trip"
    events = home.front.get("/api/v1/events?limit=200", token).json["events"]
    assert {event["printer"] for event in events} <= {"cinder"}
    for act in ("trip", "reset"):
        assert home.front.post(f"/api/v1/printers/bramble/{act}", ACT, token).status in {403, 404}
    told = home.front.post("/api/v1/readings", {"printer": "bramble", "heater": "bed", "temperature_c": 20.0}, token).json
    assert (told["accepted"], told["refused_count"]) == (0, 1)


def test_a_revoked_token_is_good_for_nothing_within_two_seconds(home: House) -> None:
    token = home.make_token("soon gone", *SCOPES)
    assert home.front.get("/api/v1/events", token).status == 200
    home.command("token", "revoke", "soon gone")
    revoked = seconds()
    until(lambda: home.front.get("/api/v1/events", token).status in {401, 429}, 4)
    assert seconds() - revoked < 3.0
    assert home.front.post("/api/v1/printers/cinder/trip", ACT, token).status in {401, 429}
    assert home.shop.state("cinder") != "tripped"


def test_acts_are_the_guards_to_allow_even_while_the_front_still_believes_a_token(home: House) -> None:
    token = home.make_token("gone at once", *SCOPES)
    assert home.front.get("/api/v1/events", token).status == 200
    home.command("token", "revoke", "gone at once")
    assert home.front.post("/api/v1/printers/cinder/trip", ACT, token).status in {401, 429}
    assert home.front.post("/api/v1/readings", {"printer": "cinder", "heater": "bed", "temperature_c": 20.0}, token).status in {401, 429}


def test_a_flood_of_bad_tokens_is_slowed_down_and_good_ones_go_on(home: House) -> None:
    """Row F27."""
    statuses = [home.front.get("/api/v1/status", "hw_" + f"{number:043d}").status for number in range(60)]
    assert set(statuses) <= {401, 429}
    assert statuses[-1] == 429
    answer = home.front.get("/api/v1/status", "hw_" + "y" * 43)
    assert answer.problem == "too-many"
    assert int(answer.headers["retry-after"]) > 0
    assert home.front.get("/api/v1/status", home.tokens["read"]).status == 200
    assert home.front.get("/api/v1/status", home.make_token("made meanwhile", "read")).status == 200
