"""Material of other people that is kept beside the repository, and settings for the rigs it comes from."""

import os
from pathlib import Path
from typing import Any, Final

import pytest

from watchdog.core.plan import SitePlan
from watchdog.settings.assemble import site_plan
from watchdog.settings.feeds import Readings
from watchdog.settings.model import Heater, HeaterKind, MainFile, PrinterFile, Settings

PLACE: Final = "HEATWARDEN_SHARED"
TOP: Final = Path(__file__).parents[2]


def shared(name: str) -> Path:
    """The folder `name` of that material. A whole module is skipped where it is not there: it is never part of the repository."""
    folder = Path(os.environ.get(PLACE) or TOP.parent / "shared") / name
    if not folder.is_dir():
        pytest.skip(
            f"no {name} of other people here: put the folder beside the repository, or name its place in {PLACE}", allow_module_level=True
        )
    return folder


def rig_heater(
    kind: HeaterKind, longest_interval_s: float, normal_max_c: float, harm_c: float, limits: dict[str, dict[str, float]] | None = None
) -> Heater:
    """A heater that is no printer's: judged as `kind`, with temperatures and limits of its own."""
    readings = Readings(broker="log", topic="log/rig", longest_interval_s=longest_interval_s)
    return Heater(kind=kind, readings=readings, normal_max_c=normal_max_c, harm_c=harm_c, limits=limits or {})


def rig_site(printer: str, heaters: dict[str, Heater]) -> SitePlan:
    """A site of one rig, with nothing to switch."""
    return site_plan(Settings(MainFile(site="outside"), {printer: PrinterFile(relays=(), heaters=heaters)}))


def said_of(trips: list[dict[str, Any]]) -> str:
    """Trips of a replay in one line, for a message."""
    return "; ".join(f"{trip['time']} {trip['heater']} {trip['check']}: {trip['reason']}" for trip in trips) or "nothing tripped"
