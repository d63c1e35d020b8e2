"""The second socket of a real guard: who may do what, what is on record, and what becomes of tokens."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.broker import MosquittoBroker
from rig.front_client import FrontClient, new_token, token_command
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

from watchdog.wire.front import SCOPES

pytestmark = pytest.mark.rig

ACT = {"printer": "anvil", "person": "Ada", "reason": "it smells"}
PUSHED_BED = """relays = ["cinder-plug"]

[heaters.bed]
kind = "bed"
[heaters.bed.readings]
pushed = true
longest_interval_s = 5.0
[heaters.bed.limits.ceiling]
confirm_s = 0.0
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    folder = tmp_path_factory.mktemp("second")
    site = SiteTable(printers=(simple("anvil"), simple("bramble"), simple("cinder")))
    with MosquittoBroker(folder) as broker, Workshop(folder, site, broker) as shop:
        (folder / "config" / "printers" / "cinder.toml").write_text(PUSHED_BED)
        shop.begin(quiet=("cinder",))
        until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
        until((shop.guard.state / "front.sock").is_socket)
        yield shop


@pytest.fixture(scope="module")
def tokens(shop: Workshop) -> dict[str, str]:
    """One token of each scope, by scope."""
    return {scope: new_token(shop.guard.state, f"{scope} only", scope) for scope in SCOPES}


@pytest.fixture
def client(shop: Workshop) -> Iterator[FrontClient]:
    with FrontClient(shop.guard.state / "front.sock") as client:
        yield client


REQUESTS: dict[str, dict[str, Any]] = {
    "read": {"ask": "status"},
    "report": {"ask": "readings", "readings": []},
    "trip": {"ask": "trip", **ACT},
    "reset": {"ask": "reset", **ACT},
}
"""By the scope that each needs."""


def test_no_scope_includes_another(shop: Workshop, tokens: dict[str, str], client: FrontClient) -> None:
    """Threat S03: every request with every wrong scope."""
    for scope in SCOPES:
        for other, token in tokens.items():
            if other != scope:
                reply = client.json(**REQUESTS[scope], token=token)
                assert (reply["ok"], reply["kind"]) == (False, "no scope"), (scope, other)
                assert f"'{scope}'" in reply["error"]
    assert shop.state("anvil") == "protected"
    refused = shop.event("access", says="has no scope")
    assert refused.level == "warning"


def test_nobody_acts_without_a_token_or_with_a_bad_one(shop: Workshop, client: FrontClient) -> None:
    """Threat S03: no anonymous act, on loopback or anywhere."""
    for ask in ("trip", "reset"):
        assert client.json(ask=ask, **ACT)["kind"] == "no token"
        assert client.json(ask=ask, **ACT, token="hw_" + 43 * "A")["kind"] in {"bad token", "busy"}
    assert client.json(ask="bypass", **ACT)["kind"] == "bad request"
    assert shop.state("anvil") == "protected"


def test_a_trip_and_its_reset_are_on_record_with_person_and_token(shop: Workshop, tokens: dict[str, str], client: FrontClient) -> None:
    t0 = seconds()
    reply = client.json(ask="trip", **ACT, token=tokens["trip"])
    assert reply["ok"]
    assert shop.off_after_s("anvil-plug", t0) < 2.0
    assert client.json(ask="status", token=tokens["read"])["status"]["state"] == "tripped"
    assert client.json(ask="reset", **ACT, token=tokens["trip"])["kind"] == "no scope"
    ready = client.json(ask="readiness")
    assert not ready["ready"]
    assert any(reason.startswith("anvil was tripped") for reason in ready["reasons"])
    shop.printers["anvil"].temperature_c = 25.0
    until(lambda: client.json(ask="reset", **ACT, token=tokens["reset"])["ok"])
    shop.plugs["anvil-plug"].switch(on=True)
    until(lambda: shop.state("anvil") == "protected")
    assert shop.event("trip", "anvil", since=t0, says="Ada by token 'trip only'")
    assert shop.event("reset", "anvil", since=t0, says="Ada by token 'reset only'")


def test_a_revoked_token_is_refused_at_once_without_a_restart(shop: Workshop, client: FrontClient) -> None:
    token = new_token(shop.guard.state, "visitor", "read")
    assert client.json(ask="verify", token=token) == {"ok": True, "name": "visitor", "scopes": ["read"], "printers": []}
    assert token_command(shop.guard.state, "revoke", "visitor").returncode == 0
    reply = client.json(ask="verify", token=token)
    assert not reply["ok"]
    assert reply["kind"] in {"bad token", "busy"}
    shop.event("access", says="added 'visitor' (read)")
    shop.event("access", says="taken away 'visitor'")


def test_pushed_readings_are_judged_and_cut(shop: Workshop, tokens: dict[str, str], client: FrontClient) -> None:
    def push(printer: str, heater: str, temperature_c: float) -> dict[str, Any]:
        item = {"printer": printer, "heater": heater, "temperature_c": temperature_c, "target_c": 0}
        return client.json(ask="readings", token=tokens["report"], readings=[item])

    assert push("cinder", "bed", 24.5)["accepted"] == 1
    until(lambda: shop.heater("cinder")["temperature_c"] == 24.5)
    (refused,) = push("anvil", "bed", 24.5)["refused"]
    assert "over MQTT, not pushed" in refused["why"]
    t0 = seconds()
    push("cinder", "bed", 180.0)
    assert shop.off_after_s("cinder-plug", t0) < 2.0


def test_thousands_of_strange_names_make_nothing_grow(shop: Workshop, tokens: dict[str, str], client: FrontClient) -> None:
    """Threat S28: only names of the settings get a place anywhere."""
    client.json(ask="status", token=tokens["read"])
    before = {len(orjson.dumps(shop.guard.status()[part])) // 200 for part in ("printers", "relays", "links")}
    events = len(shop.events())
    for batch in range(8):
        items = [{"printer": f"p{batch}-{number}", "heater": f"h{number}", "temperature_c": 20.0} for number in range(500)]
        reply = client.json(ask="readings", token=tokens["report"], readings=items)
        assert (reply["accepted"], len(reply["refused"])) == (0, 500)
    assert len(shop.events()) - events < 5
    assert {len(orjson.dumps(shop.guard.status()[part])) // 200 for part in ("printers", "relays", "links")} == before
    assert shop.guard.status()["unknown_readings"] == 0


def test_no_token_is_found_anywhere_but_in_the_hands_of_its_owner(shop: Workshop, client: FrontClient) -> None:
    """Threat S16: not in the log, the record, the state files or the process list; its hash alone is kept."""
    canary = new_token(shop.guard.state, "canary", "read", "report", "trip", "reset")
    client.json(ask="verify", token=canary)
    client.json(ask="trip", token=canary, printer=canary, person="Ada", reason="none")
    client.json(ask="reset", token=canary, printer="bramble", person="Ada", reason="none")
    client.json(**{"ask": "status", "token": canary, canary: 1})
    client.raw(b'{"ask": "status", "token": "' + canary.encode() + b"\n")
    client.json(ask="readings", token=canary, readings=[{"printer": "bramble", "heater": "bed", "temperature_c": 1e9}])
    assert token_command(shop.guard.state, "revoke", "canary").returncode == 0
    client.json(ask="verify", token=canary)
    shop.event("access", says="taken away 'canary'")
    until(lambda: not shop.guard.status()["guard"]["record"]["waiting"])
    assert shop.guard.process is not None
    files = [path for path in shop.guard.state.rglob("*") if path.is_file()]
    for path in (*files, shop.guard.log_file, Path(f"/proc/{shop.guard.process.pid}/cmdline")):
        assert canary[3:].encode() not in path.read_bytes(), path
