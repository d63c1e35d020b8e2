"""A second guard, and starts with settings that cannot be run."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.guard import Guard
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    with Workshop(tmp_path, SiteTable(printers=(simple("anvil"),)), broker) as shop:
        yield shop.begin()


def spoil(shop: Workshop) -> None:
    """Cut the printer's file off in the middle of a line, as a full disk would."""
    file = shop.guard.config / "printers" / "anvil.toml"
    file.write_text(file.read_text()[:-12])


def test_a_second_guard_is_refused_and_the_first_one_goes_on(shop: Workshop) -> None:
    """Row F52."""
    until(lambda: shop.state("anvil") == "protected")
    run = shop.guard.status()["guard"]["run"]
    second = Guard(shop.guard.config, shop.guard.state)
    t0 = seconds()
    second.start()
    assert second.ended_within(10) == 1
    figure("F52 second guard started to refused", seconds() - t0)
    assert f"another guard is already running on {shop.guard.state}" in shop.guard.log()
    assert shop.guard.status()["guard"]["run"] == run
    t1 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    assert shop.off_after_s("anvil-plug", t1) < 2 * 0.25 + 1.0


def test_broken_settings_leave_the_last_good_ones_in_charge_and_loudly(shop: Workshop) -> None:
    """Rows F84 and F82: not one minute without a guard."""
    until((shop.guard.state / "validated" / "heatwarden.toml").exists)
    shop.guard.stop()
    spoil(shop)
    shop.begin_guard()
    (notice,) = shop.guard.status()["guard"]["notices"]
    assert notice.startswith("THE SETTINGS ARE BROKEN (1 problem, first: printers/anvil.toml:")
    assert shop.loud("THE SETTINGS ARE BROKEN").level == "warning"
    until(lambda: shop.state("anvil") == "protected")
    t0 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    assert shop.off_after_s("anvil-plug", t0) < 2 * 0.25 + 1.0


def test_broken_settings_without_a_good_copy_end_with_78(tmp_path: Path, broker: MosquittoBroker) -> None:
    """Row F84."""
    with Workshop(tmp_path, SiteTable(printers=(simple("anvil"),)), broker) as shop:
        spoil(shop)
        shop.guard.start()
        assert shop.guard.ended_within(10) == 78
        assert "there is no validated copy" in shop.guard.log()
        assert "CRITICAL settings: printers/anvil.toml:" in shop.guard.log()


def test_a_standing_latch_is_obeyed_even_when_no_settings_can_be_run(shop: Workshop) -> None:
    """Rows F54 and F84: OFF goes out by what the latch itself knows of its relay, and then the guard ends with 78."""
    until(lambda: shop.state("anvil") == "protected")
    shop.printers["anvil"].temperature_c = HOT_C
    until(lambda: shop.guard.printer("anvil")["latch"])
    until(lambda: shop.guard.printer("anvil")["latch"]["verdict"] == "confirmed")
    threading.Event().wait(0.2)  # the latch is stored a few milliseconds after the power is gone
    shop.guard.kill()
    for file in (shop.guard.state / "validated").rglob("*.toml"):
        file.unlink()
    spoil(shop)
    shop.plugs["anvil-plug"].switch(on=True)
    t0 = seconds()
    shop.guard.start()
    off_s = shop.off_after_s("anvil-plug", t0)
    figure("F84 start without settings to latched plug open", off_s)
    assert off_s < 5.0
    assert shop.guard.ended_within(12) == 78
    assert not shop.plugs["anvil-plug"].on


def test_a_latched_printer_stays_off_when_the_last_good_settings_are_in_charge(shop: Workshop) -> None:
    """Rows F54 and F84."""
    until((shop.guard.state / "validated" / "heatwarden.toml").exists)
    until(lambda: shop.state("anvil") == "protected")
    shop.printers["anvil"].temperature_c = HOT_C
    until(lambda: shop.guard.printer("anvil")["latch"])
    trip = shop.guard.printer("anvil")["latch"]["trip"]
    shop.guard.kill()
    spoil(shop)
    shop.plugs["anvil-plug"].switch(on=True)
    t0 = seconds()
    shop.begin_guard()
    assert shop.off_after_s("anvil-plug", t0) < 5.0
    assert shop.guard.printer("anvil")["latch"]["trip"] in {trip, "unknown"}
