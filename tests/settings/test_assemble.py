"""What engine, sources and relays are told."""

from dataclasses import fields
from pathlib import Path

import orjson
import pytest

from watchdog.checks.registry import CHECKS
from watchdog.core.engine import Engine
from watchdog.core.plan import RelayPlan
from watchdog.relays.registry import KINDS
from watchdog.settings.assemble import feeds_by_broker, latched_relay_plan, relay_plan, site_plan
from watchdog.settings.feeds import Readings
from watchdog.settings.load import load
from watchdog.settings.model import Settings
from watchdog.wire.feed import Feed
from watchdog.wire.payload import Decoder


@pytest.fixture
def settings(config: Path) -> Settings:
    found = load(config).settings
    assert found is not None
    return found


def test_printers_heaters_and_relays_keep_their_order(settings: Settings) -> None:
    plan = site_plan(settings)
    assert plan.site == "millbrook"
    assert [(printer.name, [heater.name for heater in printer.heaters], printer.relays) for printer in plan.printers] == [
        ("anvil", ["bed", "hotend"], ("anvil-plug", "table-board")),
        ("cinder", ["bed"], ("table-board", "make-believe")),
    ]
    assert plan.printers[0].heaters[0].relays == ("bed-contactor",)
    assert [relay.name for relay in plan.relays] == ["anvil-plug", "bed-contactor", "table-board", "make-believe"]


def test_a_heater_has_its_source_ceiling_and_checks(settings: Settings) -> None:
    bed = site_plan(settings).printers[0].heaters[0]
    assert (bed.source.name, bed.source.link, bed.source.on_change, bed.source.longest_interval_s) == ("anvil/bed", "main", False, 2.0)
    assert bed.ceiling_c == 115.0
    assert bed.plausible_c == (-40.0, 250.0)
    assert [check.name for check in bed.checks()] == [entry.name for entry in CHECKS]
    cinder = site_plan(settings).printers[1].heaters[0]
    assert cinder.source.on_change


def test_the_engine_takes_the_plan(settings: Settings) -> None:
    assert Engine(site_plan(settings), 0.0, "run").snapshot()


def test_a_relay_says_what_evidence_it_can_give(settings: Settings) -> None:
    plug, contactor, board, pretend = (
        relay_plan(settings, name) for name in ("anvil-plug", "bed-contactor", "table-board", "make-believe")
    )
    assert (plug.cuts, plug.silences, plug.has_echo, plug.has_meter) == ("printer", True, True, True)
    assert (plug.standby_w, plug.meter_within_s) == (2.0, 75.0)
    assert (contactor.cuts, contactor.silences, contactor.has_echo, contactor.has_meter) == ("heater", False, False, False)
    assert (board.cuts, board.silences, board.has_echo, board.watched) == ("several", True, True, True)
    assert board.sent_within_s > 2.0  # a program that runs into its limit is told after it
    assert (pretend.has_echo, pretend.real) == (False, False)  # it says off at once, and shows nothing by that
    assert plug.real


def test_feeds_board_overrides_what_follows_from_cuts(config: Path) -> None:
    main = config / "heatwarden.toml"
    main.write_text(main.read_text().replace('cuts = "heater"', 'cuts = "heater"\nfeeds_board = true'))
    found = load(config).settings
    assert found is not None
    assert relay_plan(found, "bed-contactor").silences


def test_an_address_reaches_its_relay_without_settings_and_without_secrets(settings: Settings, config: Path) -> None:
    for plan in site_plan(settings).relays:
        stored = orjson.dumps(plan.address)
        address = orjson.loads(stored)
        assert address == plan.address  # as it comes back from a latch record
        kind = KINDS[address.pop("kind")]
        assert set(address) == {field.name for field in fields(kind.address)}
        assert b"correct horse" not in stored
    assert site_plan(settings).relays[0].address["broker"]["password_file"] == str(config.parent / "secret")


def test_a_relay_known_only_from_a_latch_keeps_its_evidence(settings: Settings) -> None:
    for plan in site_plan(settings).relays:
        again = latched_relay_plan(plan.name, orjson.loads(orjson.dumps(plan.address)))
        for key in ("has_echo", "has_meter", "standby_w", "meter_within_s", "watched", "address"):
            assert getattr(again, key) == getattr(plan, key)


HTTP = """
[relays.plug-on-http]
kind = "http"
cuts = "printer"
order = { url = "http://192.0.2.7/contact", body = "word={secret}" }
secret_file = "{here}/secret"
time_limit_s = 3
"""
ASKED = """echo = { url = "http://192.0.2.7/contact" }
meter = { pointer = "/watts", standby_w = 1, within_s = 20 }
"""


@pytest.mark.parametrize("more", ["", ASKED], ids=["order alone", "echo and meter"])
def test_a_relay_on_http_says_the_same_in_a_latch_record_and_keeps_no_secret_there(config: Path, more: str) -> None:
    main = config / "heatwarden.toml"
    main.write_text(main.read_text() + HTTP.replace("{here}", str(config.parent)) + more)
    settings = load(config).settings
    assert settings is not None
    plan = relay_plan(settings, "plug-on-http")
    assert (plan.has_echo, plan.has_meter, plan.watched, plan.sent_within_s) == (bool(more), bool(more), True, 3.0)
    assert not more or (plan.standby_w, plan.meter_within_s) == (1.0, 20.0)
    saved = orjson.dumps(plan.address)
    assert latched_relay_plan("plug-on-http", orjson.loads(saved)) == plan
    assert (b"word={secret}" in saved, b"correct horse" in saved) == (True, False)


@pytest.mark.parametrize("address", [{}, {"kind": 3}, {"kind": "mqtt", "meter": {"standby_w": "x"}}, {"meter": 3, "ask": None}])
def test_a_damaged_address_still_gives_a_plan(address: dict[str, object]) -> None:
    assert isinstance(latched_relay_plan("plug", address), RelayPlan)


def test_feeds_are_told_by_broker_with_sensors_and_meters(settings: Settings) -> None:
    found = {
        broker: [(feed.printer, feed.heater, feed.source, feed.feed.sensor) for feed in feeds]
        for broker, feeds in feeds_by_broker(settings).items()
    }
    assert found == {
        "main": [
            ("anvil", "bed", "anvil/bed", ""),
            ("anvil", "hotend", "anvil/hotend", ""),
            ("anvil", "", "anvil/power meter", ""),
            ("cinder", "bed", "cinder/bed", ""),
        ],
        "spare": [("anvil", "bed", "anvil/bed/glued", "glued")],
    }
    assert feeds_by_broker(settings)["main"][3].presence is not None


def test_every_feed_can_be_decoded(settings: Settings) -> None:
    payloads = {"anvil/power meter": b'{"watts": 41.5}', "cinder/bed": b"bed 59.8 of 60", "anvil/bed/glued": b"61.5"}
    for feeds in feeds_by_broker(settings).values():
        for feed in feeds:
            payload = payloads.get(feed.source, b'{"bed": {"now": 61.5, "wanted": 60}, "hotend": {"now": 200, "wanted": 0}}')
            assert not hasattr(Decoder(feed.feed).decode(payload), "why")


def test_readings_know_all_that_a_feed_can_say() -> None:
    assert {field.name for field in fields(Feed)} <= {field.name for field in fields(Readings)}
