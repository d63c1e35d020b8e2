"""Bypasses and observing on the real guard, over kill -9 and restart. Rows F85 and F41."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

from watchdog.guard.remainders_file import NAME
from watchdog.wire.control import Request

pytestmark = pytest.mark.rig

HOT_C = 180.0
NORMAL_S = 2 * 0.25 + 1.0
"""From hot in the script to power gone, at four readings a second."""

LASTS_S = 18.0
OBSERVES_S = 9.0


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    with Workshop(tmp_path, SiteTable(printers=(simple("anvil"), simple("bramble"))), broker) as shop:
        yield shop.begin()


def bypass(shop: Workshop, printer: str, minutes: float, person: str = "Robin") -> float:
    """Bypass no readings; the moment it was asked for."""
    asked_at = seconds()
    told = shop.guard.ask(Request("bypass", printer, person, "a cable is changed", check="no readings", minutes=minutes))
    assert told["ok"], told
    return asked_at


def left_s(shop: Workshop, printer: str) -> float | None:
    found = shop.guard.printer(printer)["bypasses"]
    return found[0]["left_s"] if found else None


def ceiling_cuts(shop: Workshop, printer: str) -> float:
    """Hot, cut, cooled, reset and on again; how long it took until the power was gone."""
    assert shop.plugs[f"{printer}-plug"].on
    assert shop.guard.printer(printer)["latch"] is None
    t0 = seconds()
    shop.printers[printer].temperature_c = HOT_C
    off_s = shop.off_after_s(f"{printer}-plug", t0)
    until(lambda: shop.guard.printer(printer)["latch"])
    assert shop.guard.printer(printer)["latch"]["check"] == "ceiling"
    shop.printers[printer].temperature_c = 60.0
    until(lambda: shop.guard.reset(printer)["ok"])
    threading.Event().wait(0.3)  # a release is stored a few milliseconds after it was answered
    shop.plugs[f"{printer}-plug"].switch(on=True)
    return off_s


def test_a_bypass_over_kill_and_restart_ends_at_the_right_time_and_what_stands_then_cuts(shop: Workshop) -> None:
    """Row F85: a second bypass on top, kill -9 in the middle, ceiling active throughout."""
    until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
    bypass(shop, "anvil", 30.0)
    begun_at = bypass(shop, "anvil", LASTS_S / 60.0, "Jo")
    bypass(shop, "bramble", 30.0)
    assert shop.state("anvil") == "not protected"
    figure("F85 ceiling during a bypass: hot to power gone", before := ceiling_cuts(shop, "bramble"))
    kept = shop.guard.state / NAME
    until(lambda: b"Jo" in kept.read_bytes() and kept.read_bytes().count(b"Robin") == 1)

    shop.guard.kill()
    shop.begin_guard()

    restarted_at = seconds()
    left = left_s(shop, "anvil")
    assert left is not None
    assert left == pytest.approx(begun_at + LASTS_S - restarted_at, abs=0.5)
    assert "no readings is still bypassed" in shop.event("bypass", "anvil", since=restarted_at - 10.0, says="still").sentence
    until(lambda: shop.heater("anvil")["live"])
    shop.printers["anvil"].quiet = True  # hot and asked for heat: without the bypass it is cut after 3 s
    would = shop.event("would have cut", "anvil", since=restarted_at - 10.0)
    assert would.check == "no readings"
    assert shop.plugs["anvil-plug"].on
    figure("F85 ceiling during a bypass after a restart: hot to power gone", after := ceiling_cuts(shop, "bramble"))
    assert max(before, after) < NORMAL_S

    over = shop.event("bypass over", "anvil", since=restarted_at - 10.0, within_s=LASTS_S)
    trip = shop.event("trip", "anvil", since=restarted_at - 10.0)
    figure("F85 bypass over, off its end by", abs(over.at.engine_s - (begun_at + LASTS_S)))
    assert over.at.engine_s == pytest.approx(begun_at + LASTS_S, abs=0.1)
    assert trip.at.engine_s == pytest.approx(over.at.engine_s, abs=0.001)
    assert trip.check == "no readings"
    assert shop.off_after_s("anvil-plug", trip.at.engine_s) < 1.0
    bramble_left = left_s(shop, "bramble")
    assert bramble_left is not None
    assert bramble_left < 30.0 * 60.0 - LASTS_S + 0.5


def test_hours_of_observing_go_on_after_a_restart_and_then_it_is_armed(tmp_path: Path, broker: MosquittoBroker) -> None:
    hours = OBSERVES_S / 3600.0
    table = simple("anvil", limits=f"\n[heaters.bed.observe]\nno_readings = {hours}\n")
    with Workshop(tmp_path, SiteTable(printers=(table,)), broker) as shop:
        shop.begin()
        until(lambda: shop.heater("anvil")["live"])
        threading.Event().wait(2.0)
        (observes,) = shop.guard.printer("anvil")["observes"]
        assert observes["hours_left"] < observes["hours"] == pytest.approx(hours)
        shop.guard.stop()
        stopped_at = seconds()
        shop.begin_guard()
        assert shop.guard.printer("anvil")["observes"][0]["hours_left"] * 3600.0 < OBSERVES_S - 2.0
        until(lambda: shop.heater("anvil")["live"])
        shop.printers["anvil"].quiet = True
        assert shop.event("would have cut", "anvil", since=stopped_at).check == "no readings"
        armed = shop.event("armed", "anvil", since=stopped_at, within_s=OBSERVES_S)
        assert armed.at.engine_s - stopped_at < OBSERVES_S - 2.0 + 2.0  # less what was used before, plus the start
        assert shop.event("trip", "anvil", since=stopped_at).at.engine_s == pytest.approx(armed.at.engine_s, abs=0.001)


def test_a_lost_file_arms_what_observed_and_ends_what_was_bypassed_and_loudly(tmp_path: Path, broker: MosquittoBroker) -> None:
    table = simple("anvil", limits="\n[heaters.bed.observe]\nno_readings = 20.0\n")
    with Workshop(tmp_path, SiteTable(printers=(table,)), broker) as shop:
        shop.begin()
        until(lambda: shop.heater("anvil")["live"])
        bypass(shop, "anvil", 30.0)
        until(lambda: b"Robin" in (shop.guard.state / NAME).read_bytes())
        shop.guard.kill()
        (shop.guard.state / NAME).write_bytes(b"")
        shop.begin_guard()
        shop.loud(f"{NAME} is damaged")
        shop.loud("the check no readings of bed is armed")
        until(lambda: shop.state("anvil") == "protected")
        t0 = seconds()
        shop.printers["anvil"].quiet = True
        assert shop.off_after_s("anvil-plug", t0) < 3.0 + NORMAL_S
