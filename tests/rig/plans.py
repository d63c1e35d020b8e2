"""Plans of sites for the engine, from the classes of heater: what an owner gets who says nothing more."""

from collections.abc import Mapping
from dataclasses import MISSING, fields
from functools import partial
from typing import Any

from watchdog.checks.registry import CHECKS, Entry
from watchdog.core.check import Check
from watchdog.core.plan import CoolingPlan, HeaterPlan, PrinterPlan, RelayPlan, SitePlan, SourcePlan
from watchdog.settings.feeds import Readings
from watchdog.settings.limits import limits_by_check
from watchdog.settings.model import Heater
from watchdog.thermal.expectations import expectations
from watchdog.thermal.facts import Facts
from watchdog.thermal.heater_classes import CLASSES, ceiling_c

Overrides = Mapping[str, Mapping[str, float]]
"""Limits by the key of the check and the name of the limit."""


def limits_of(
    kind: str, overrides: Overrides | None = None, facts: Mapping[str, Any] | None = None, interval_s: float = 2.0
) -> dict[str, Any]:
    """The limits of every check for a class of heater, by the check's key, as its own dataclass. Facts imply some, as in life."""
    overrides = overrides or {}
    if facts:
        readings = Readings(broker="main", topic="bed", longest_interval_s=interval_s)
        told: Any = {"kind": kind, "readings": readings, "limits": {key: dict(own) for key, own in overrides.items()}, **facts}
        return {entry.key: own for entry, own in limits_by_check(Heater(**told))}
    highest = {key: overrides.get("ceiling", {})[key] for key in overrides.get("ceiling", {}) if key == "above_c"}
    own = {**overrides, "commanded_too_hot": highest | dict(overrides.get("commanded_too_hot", {}))}
    return {entry.key: _limits(kind, entry, own.get(entry.key, {})) for entry in CHECKS}


def _limits(kind: str, entry: Entry, own: Mapping[str, float]) -> Any:
    heater = CLASSES[kind]
    usual = dict(heater.limits.get(entry.name, {}))
    if entry.key in ("ceiling", "commanded_too_hot"):
        usual["above_c"] = ceiling_c(heater, heater.normal_max_c, heater.harm_c)
    unknown = set(own) - {field.name for field in fields(entry.limits)}
    assert not unknown, f"{entry.name} has no limit {unknown}"
    values = {field.name: field.default for field in fields(entry.limits) if field.default is not MISSING}
    if "grace_s" in own and "outage_s" not in own:  # as in settings: who sets the grace means it
        usual["outage_s"] = own["grace_s"]
    return entry.limits(**values | usual | dict(own))


def checks_under(limits: Mapping[str, Any]) -> list[Check]:
    return [entry.build(limits[entry.key]) for entry in CHECKS]


def heater(
    kind: str = "bed",
    *,
    printer: str = "anvil",
    name: str = "",
    interval_s: float = 2.0,
    on_change: bool = False,
    link: str = "main",
    relays: tuple[str, ...] = (),
    limits: Overrides | None = None,
    sensors: Mapping[str, float] | None = None,
    more: tuple[type[Check], ...] = (),
    facts: Mapping[str, Any] | None = None,
) -> HeaterPlan:
    """One heater with all checks of the registry. `interval_s` is its longest interval; `more` are checks of the test's own.

    `facts` are those of thermal.facts.Facts, but for its kind and temperatures.
    """
    usual = CLASSES[kind]
    own = limits_of(kind, limits, facts, interval_s)

    def checks() -> list[Check]:
        return [cls() for cls in more] + checks_under(own)

    return HeaterPlan(
        name=name or kind,
        kind=kind,
        source=SourcePlan(f"{printer}/{name or kind}", on_change, interval_s, link),
        checks=checks if more else partial(checks_under, own),
        cooling=CoolingPlan(usual.stored_rise_k, usual.drop_k, usual.cooling_within_s, usual.cold_c, usual.time_constant_s),
        plausible_c=usual.plausible_c,
        ceiling_c=own["ceiling"].above_c,
        relays=relays,
        sensors=sensors or {},
        expected=expectations(Facts(kind=kind, normal_max_c=usual.normal_max_c, harm_c=usual.harm_c, **facts)) if facts else None,
    )


def plug(name: str = "plug", **told: Any) -> RelayPlan:
    """A plug that echoes, for a whole printer, unless told otherwise."""
    return RelayPlan(name, has_echo=told.pop("has_echo", True), **told)


def site(*printers: PrinterPlan, relays: tuple[RelayPlan, ...] = ()) -> SitePlan:
    """A site; without printers: the one printer anvil with a bed, and one plug."""
    printers = printers or (PrinterPlan("anvil", (heater(),), ("plug",)),)
    return SitePlan("millbrook", printers, relays or (plug(),))


def workshop() -> SitePlan:
    """Two printers on one table: anvil (a contactor for its bed, a plug) and bramble (reports on change), both behind a table plug."""
    anvil = PrinterPlan(
        "anvil",
        (heater(relays=("contactor",), sensors={"glued": 5.0}), heater("hotend")),
        ("anvil-plug", "table-plug"),
    )
    bramble = PrinterPlan("bramble", (heater(printer="bramble", on_change=True, interval_s=10.0),), ("table-plug",))
    relays = (
        plug("contactor", cuts="heater", silences=False, has_echo=True),
        plug("anvil-plug", has_meter=True, meter_within_s=20.0),
        plug("table-plug", cuts="several"),
    )
    return SitePlan("millbrook", (anvil, bramble), relays)
