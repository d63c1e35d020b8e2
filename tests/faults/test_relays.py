"""Plugs that lie, vanish, come back switched on, or are switched on by somebody else."""

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from rig.broker import MosquittoBroker, publisher, say
from rig.figures import figure
from rig.site import HeaterTable, PlugTable, PrinterTable, SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0
METER_WITHIN_S = 2.0


def two_plugs(name: str, *, meter: bool) -> PrinterTable:
    relays = (PlugTable(name=f"{name}-plug", meter=meter, meter_within_s=METER_WITHIN_S), PlugTable(name=f"{name}-second"))
    return PrinterTable(name=name, relays=relays, heaters=(HeaterTable(confirm_s=0.0),))


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    site = SiteTable(
        printers=(
            two_plugs("anvil", meter=True),
            two_plugs("bramble", meter=True),
            two_plugs("cinder", meter=False),
            simple("dahlia", meter=True, confirm_s=0.0),
            simple("ember", meter=True, confirm_s=0.0),
            two_plugs("fennel", meter=True),
            simple("gorse", confirm_s=0.0),
        )
    )
    habits: dict[str, dict[str, Any]] = {
        "anvil-plug": {"lie": "welded"},
        "bramble-plug": {"standby_w": 300.0},
        "cinder-plug": {"lie": "welded"},
        "ember-plug": {"back_on_after_s": 0.7},
        "fennel-plug": {"lie": "welded"},
        "fennel-second": {"lie": "deaf"},
    }
    with Workshop(tmp_path_factory.mktemp("relays"), site, broker) as shop:
        yield shop.begin(habits=habits)


def overheat(shop: Workshop, printer: str) -> float:
    """Too hot from now on; returns the moment."""
    until(lambda: shop.state(printer) == "protected")
    t0 = seconds()
    shop.printers[printer].temperature_c = HOT_C
    return t0


def trip_at(shop: Workshop, printer: str) -> float:
    return float(until(lambda: shop.trips(printer))[0].at.engine_s)


@pytest.mark.parametrize(("printer", "row"), [("anvil", "F65 contact welded"), ("bramble", "F66 meter sees power")])
def test_power_that_the_meter_still_sees_is_cut_by_the_second_relay(shop: Workshop, printer: str, row: str) -> None:
    """Rows F65 and F66."""
    overheat(shop, printer)
    tripped = trip_at(shop, printer)
    second_s = shop.off_after_s(f"{printer}-second", tripped)
    figure(f"{row}: trip to second relay open (meter gets 2 s)", second_s)
    assert METER_WITHIN_S - 0.1 < second_s < METER_WITHIN_S + 0.5
    shop.loud(f"relay {printer}-plug still passes power in")
    assert shop.event("next relay", printer).level == "alarm"
    until(lambda: shop.guard.printer(printer)["latch"]["verdict"] == "confirmed")
    assert len(shop.trips(printer)) == 1


def test_a_welded_contact_without_a_meter_is_given_away_by_the_temperature(shop: Workshop) -> None:
    """Row F65: heat that is stored explains 12 K and no more."""
    t0 = overheat(shop, "cinder")
    until(lambda: shop.guard.printer("cinder")["latch"])
    assert shop.plugs["cinder-plug"].on
    shop.printers["cinder"].temperature_c = lambda: HOT_C + 20.0 * (seconds() - t0)
    shop.loud("bed rose to", within_s=10.0)
    assert shop.off_after_s("cinder-second", t0) < 4.0
    assert len(shop.trips("cinder")) == 1


def test_when_nothing_cuts_the_power_the_loudest_word_is_said(shop: Workshop) -> None:
    """Rows F65 and F77: both relays fail, and OFF is repeated to both."""
    overheat(shop, "fennel")
    tripped = trip_at(shop, "fennel")
    event = shop.loud("the power of fennel is NOT confirmed off", within_s=8.0)
    assert (event.kind, event.level) == ("cut not confirmed", "alarm")
    figure("F65 trip to NOT confirmed with both relays lying", event.at.engine_s - tripped)
    assert shop.guard.printer("fennel")["latch"]["verdict"] == "not confirmed"
    heard = len(shop.plugs["fennel-plug"].heard), len(shop.plugs["fennel-second"].heard)
    until(lambda: len(shop.plugs["fennel-plug"].heard) > heard[0] and len(shop.plugs["fennel-second"].heard) > heard[1])
    reply = shop.guard.reset("fennel")
    assert not reply["ok"]
    assert "not confirmed off" in reply["error"]


def test_power_that_comes_back_alone_is_cut_again_each_time(shop: Workshop) -> None:
    """Row F75."""
    overheat(shop, "ember")
    plug = shop.plugs["ember-plug"]
    until(lambda: sum(not entry.on for entry in plug.truth) >= 4, 12)
    on_s = [
        (later.at_ns - earlier.at_ns) / 1e9
        for earlier, later in zip(plug.truth[2:], plug.truth[3:], strict=False)
        if earlier.on and not later.on
    ]
    figure("F75 power back alone to cut again", *on_s)
    assert max(on_s) < 2.0
    assert shop.loud("relay ember-plug shows power again while its latch stands").level == "alarm"
    assert len(shop.trips("ember")) == 1


def test_a_plug_that_starts_again_switched_on_is_opened_at_once(shop: Workshop) -> None:
    """Row F68."""
    t0 = overheat(shop, "dahlia")
    shop.off_after_s("dahlia-plug", t0)
    until(lambda: shop.guard.printer("dahlia")["latch"]["verdict"] == "proven")
    shop.plugs["dahlia-plug"].vanish()
    until(lambda: not next(relay for relay in shop.guard.status()["relays"] if relay["name"] == "dahlia-plug")["reachable"])
    t1 = seconds()
    shop.plug(shop.site.plugs["dahlia-plug"])
    off_s = shop.off_after_s("dahlia-plug", t1)
    figure("F68 plug back and on to opened again", off_s)
    assert off_s < 2.0
    shop.loud("relay dahlia-plug shows power again while its latch stands")


def test_a_command_of_somebody_else_does_not_last(shop: Workshop) -> None:
    """Row F69."""
    t0 = overheat(shop, "gorse")
    shop.off_after_s("gorse-plug", t0)
    until(lambda: shop.guard.printer("gorse")["latch"]["verdict"] == "confirmed")
    plug = shop.plugs["gorse-plug"]
    with publisher(shop.broker.port) as stranger:
        say(stranger, shop.site.plugs["gorse-plug"].topic("order"), "on", qos=1)
        until(lambda: sum(not entry.on for entry in plug.truth) == 2)
    assert [entry.on for entry in plug.truth] == [True, False, True, False]
    on_s = (plug.truth[3].at_ns - plug.truth[2].at_ns) / 1e9
    figure("F69 switched on by somebody to opened again", on_s)
    assert on_s < 2.0
    shop.loud("relay gorse-plug shows power again while its latch stands")
    threading.Event().wait(0.5)
    assert not plug.on
