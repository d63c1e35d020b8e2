"""A 40 W hotend whose switch is stuck on, in real seconds: the plug must be open long before 300 degC."""

from contextlib import ExitStack
from pathlib import Path
from typing import NamedTuple

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.hotend import Hotend
from rig.site import HeaterTable, PlugTable, PrinterTable, SiteTable
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

STARTS_C = {"anvil": 218.0, "bramble": 242.0}
TARGETS_C = {"anvil": 210.0, "bramble": 0.0}
"""anvil's printer still wants 210 degC; bramble's says off, and of the checks there are only its ceiling sees it."""

CEILING_C = 255.0


class Hotends(NamedTuple):
    shop: Workshop
    plants: dict[str, Hotend]
    began: float


def begin_early(stack: ExitStack, folder: Path, *, full: bool) -> Hotends:
    """Two printers of one guard, both with their switch stuck on from the same moment."""
    del full
    facts = "normal_max_c = 240.0\n"
    heater = HeaterTable(name="hotend", kind="hotend", facts=facts, interval_s=1.0, advise_s=5.0, grace_s=10.0, confirm_s=2.0)
    printers = tuple(PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug"),), heaters=(heater,)) for name in STARTS_C)
    broker = stack.enter_context(MosquittoBroker(folder))
    shop = stack.enter_context(Workshop(folder, SiteTable(printers=printers), broker)).begin(quiet=tuple(STARTS_C))
    plants = {name: stack.enter_context(Hotend(shop.plugs[f"{name}-plug"], start_c)) for name, start_c in STARTS_C.items()}
    for name, plant in plants.items():
        shop.printer(name, "hotend", every_s=0.5, target_c=TARGETS_C[name], temperature_c=plant.read)
    until(lambda: shop.guard.status()["state"] == "protected")
    for plant in plants.values():
        plant.stick()
    return Hotends(shop, plants, seconds())


@pytest.mark.parametrize(("name", "check", "highest_c"), [("anvil", "overshoot", 240.0), ("bramble", "ceiling", 270.0)])
def test_a_stuck_switch_is_cut_long_before_300_degrees(story: Hotends, name: str, check: str, highest_c: float) -> None:
    """The hotend's real temperature, not what the guard believes, is what counts."""
    shop, plants, began = story
    off_s = shop.off_after_s(f"{name}-plug", began, within_s=45.0)
    (trip,) = until(lambda: shop.trips(name))
    assert (trip.heater, trip.check) == ("hotend", check)
    until(lambda: shop.guard.printer(name)["latch"]["verdict"] in {"confirmed", "proven"})
    hottest_c = until(lambda: plants[name].block_c < plants[name].hottest_c - 1.0 and plants[name].hottest_c)
    figure(f"40 W hotend, {check}: stuck to power gone", off_s)
    figure(f"40 W hotend, {check}: reading at the trip (degC)", trip.numbers["temperature_c"])
    figure(f"40 W hotend, {check}: hottest it really became (degC)", hottest_c)
    assert hottest_c < highest_c < 300.0
    until(lambda: shop.guard.printer(name)["latch"]["verdict"] == "proven", 30.0)
