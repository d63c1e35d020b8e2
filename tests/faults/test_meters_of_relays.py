"""A plug that cuts and measures: what its meter says is heard as the power of what it cuts, where the settings say so."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.http_plug import HttpPlug
from rig.site import HeaterTable, HttpTable, PlugTable, PrinterTable, SiteTable
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

SETTLE_S = 1.0
CONFIRM_S = 5.0
METER_EVERY_S = 0.2
ASK_EVERY_S = 5.0
LIMITS = f"\n[heaters.bed.limits.power_while_off]\nsettle_s = {SETTLE_S}\n"


def printer(name: str, relay: PlugTable | HttpTable) -> PrinterTable:
    return PrinterTable(name=name, relays=(relay,), heaters=(HeaterTable(limits=LIMITS),))


def plug(name: str, **more: Any) -> PlugTable:
    return PlugTable(name=f"{name}-plug", meter=True, **more)


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    """All beds are off and cold; all plugs say 310 W. Of dahlia's meter only the cut is to be seen."""
    with HttpPlug() as http, ExitStack() as stack:
        tables = (
            printer("anvil", plug("anvil", shows_heat=True)),
            printer("bramble", plug("bramble", shows_heat=True, cuts="heater")),
            printer("cinder", HttpTable(name="cinder-plug", url=http.url, meter=True, shows_heat=True)),
            printer("dahlia", plug("dahlia")),
        )
        yield stack.enter_context(Workshop(tmp_path, SiteTable(printers=tables), broker)).begin()


def test_heating_while_off_is_seen_by_the_meter_of_a_relay(shop: Workshop) -> None:
    for one in shop.printers.values():
        one.temperature_c, one.target_c = 22.0, 0.0
    off_at = seconds()
    until(lambda: all(shop.state(name) == "tripped" for name in ("anvil", "bramble", "cinder")), 30.0)
    for name, every_s in (("anvil", METER_EVERY_S), ("bramble", METER_EVERY_S), ("cinder", ASK_EVERY_S)):
        (trip,) = shop.trips(name)
        assert trip.check == "power while off"
        late_s = trip.at.engine_s - off_at - SETTLE_S - CONFIRM_S
        figure(f"meter of a relay, read every {every_s:g} s: later than it may settle and confirm", late_s)
        assert 0.0 <= late_s < 2 * every_s + 1.0
    assert "yet its meter has seen 310 W" in shop.trips("anvil")[0].reason
    assert "bed is off, yet its own meter" in shop.trips("bramble")[0].reason
    assert shop.trips("dahlia") == []
    assert shop.state("dahlia") == "protected"
