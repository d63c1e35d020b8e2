"""A scenario: what a heater did, and what the watch must say to it. Told in TOML, run through the real engine."""

import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest
from math import floor
from pathlib import Path
from typing import Any

from rig.plans import heater, plug, site
from rig.series import UNKNOWN, Value, series

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, SourceReport, Suspended, Tick
from watchdog.core.outputs import Event
from watchdog.core.plan import HeaterPlan, PrinterPlan, SitePlan

KEYS = {
    "about", "kind", "interval_s", "longest_interval_s", "reports", "temperature", "target", "duty", "resolution_k", "sensors", "limits",
    "events", "printers", "observe", "neighbour", "watch_on_s", "alive_every_s", "alive_until_s", "expect", "facts", "meter", "power",
}  # fmt: skip
ROUTINE = {"trip", "relay ordered", "relay sent", "cut confirmed", "cut not confirmed", "relay failed", "next relay", "also"}
"""Warnings and alarms that follow from a trip; a scenario expects none of them by name."""


@dataclass(frozen=True)
class Scenario:
    """One file. `verdict` and `check` come from its place: CHECK/VERDICT-what-it-shows.toml."""

    path: Path
    told: Mapping[str, Any]
    limits: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return f"{self.check}/{self.path.stem}"

    @property
    def check(self) -> str:
        return self.path.parent.name

    @property
    def verdict(self) -> str:
        return self.path.stem.split("-")[0]

    @property
    def interval_s(self) -> float:
        return float(self.told["interval_s"])

    @property
    def printers(self) -> list[str]:
        return ["anvil", "bramble", "cinder"][: self.told.get("printers", 1)]

    @property
    def ends_at(self) -> float:
        return len(series(self.told["temperature"])) * self.interval_s + float(self.told.get("watch_on_s", 0.0))


@dataclass(frozen=True)
class Outcome:
    """What came out: the first trip, if any, and the events of a level above info."""

    trip: Event | None
    warnings: Counter[str]


def load(path: Path) -> Scenario:
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    unknown = set(told) - KEYS
    assert not unknown, f"{path}: {unknown}"
    return Scenario(path, told, told.get("limits", {}))


def plan_of(scenario: Scenario) -> SitePlan:
    """The site of a scenario: each printer has one heater; all share one plug and one connection."""
    told = scenario.told
    printers = tuple(
        PrinterPlan(
            name,
            (
                heater(
                    told["kind"],
                    printer=name,
                    interval_s=told.get("longest_interval_s", 2.0 * scenario.interval_s),
                    on_change=told.get("reports", "periodically") == "on change",
                    limits=scenario.limits,
                    sensors={sensor: entry["interval_s"] for sensor, entry in told.get("sensors", {}).items()},
                    facts=told.get("facts"),
                ),
                *_neighbours(scenario, name),
            ),
            ("plug",),
            observe_s=72_000.0 if told.get("observe", False) else 0.0,
        )
        for name in scenario.printers
    )
    return site(*printers, relays=(plug(),))


def _neighbours(scenario: Scenario, printer: str) -> list[HeaterPlan]:
    """Another heater of the same printer; its own checks are of no interest here."""
    other = scenario.told.get("neighbour")
    if other is None:
        return []
    patient = {"no_readings": {"advise_s": 3000.0, "grace_s": 3600.0}, "ceiling": {"above_c": 140.0}}
    return [heater(other["kind"], printer=printer, interval_s=2.0 * scenario.interval_s, limits=patient)]


def inputs_of(scenario: Scenario) -> list[Input]:
    """All inputs in the order of their times, with a last look when the scenario ends."""
    found: list[Input] = []
    for name in scenario.printers:
        found += _readings(scenario, name)
        found += _lives(scenario, name)
    for entry in scenario.told.get("events", []):
        found += _event(scenario, entry)
    return [*sorted(found, key=lambda item: item.at), Tick(scenario.ends_at)]


def run(scenario: Scenario) -> Outcome:
    """Feed it all to a fresh engine."""
    engine = Engine(plan_of(scenario), 0.0)
    events = [output for item in inputs_of(scenario) for output in engine.feed(item) if isinstance(output, Event)]
    trip = next((event for event in events if event.kind == "trip"), None)
    return Outcome(trip, Counter(event.kind for event in events if event.level != "info" and event.kind not in ROUTINE))


def problems(scenario: Scenario, outcome: Outcome) -> list[str]:
    """How an outcome differs from what the scenario expects; empty when it is as it must be."""
    expect, trip = scenario.told.get("expect", {}), outcome.trip
    found: list[str] = []
    advisories = Counter(expect.get("advisories", {}))
    if (scenario.verdict == "quiet" or advisories) and outcome.warnings != advisories:
        found.append(f"advisories {dict(outcome.warnings)}, expected {dict(advisories)}")
    if scenario.verdict == "quiet":
        return found if trip is None else [*found, f"tripped at {trip.at:.3f} s: {trip.sentence}"]
    if trip is None:
        return [*found, "did not trip"]
    if trip.check.replace(" ", "_") != scenario.check:
        found.append(f"tripped by {trip.check}: {trip.sentence}")
    if not expect["not_before_s"] - 1e-9 <= trip.at <= expect["by_s"] + 1e-9:
        found.append(f"tripped at {trip.at:.3f} s, expected {expect['not_before_s']} to {expect['by_s']} s")
    return found


def _readings(scenario: Scenario, printer: str) -> Iterator[Reading]:
    told, kind = scenario.told, scenario.told["kind"]
    temperatures = series(told["temperature"])
    targets = _held(series(told.get("target", "_")), len(temperatures))
    duties = _held(series(told.get("duty", "_")), len(temperatures))
    on_change = told.get("reports") == "on change"
    powers = _held(series(told.get("power", "_")), len(temperatures))
    last: tuple[Value, ...] = (None, None, None, None)
    for place, values in enumerate(zip_longest(temperatures, targets, duties, powers)):
        now = (_coarse(values[0], told.get("resolution_k", 0.0)), *values[1:])
        sent = tuple(None if on_change and value == before else value for value, before in zip(now, last, strict=True))
        last = tuple(before if value is None else value for value, before in zip(now, last, strict=True))
        if any(value is not None for value in sent):
            yield _reading(printer, kind, place * scenario.interval_s, *sent)
    meter = told.get("meter", {"interval_s": 1.0, "power": ""})
    for place, value in enumerate(series(meter["power"])):
        yield Reading(printer, "", place * meter["interval_s"], power_w=_number(value))
    if "neighbour" in told:
        for place, value in enumerate(series(told["neighbour"]["temperature"])):
            yield Reading(printer, told["neighbour"]["kind"], place * scenario.interval_s, _number(value))
    for sensor, entry in told.get("sensors", {}).items():
        for place, value in enumerate(series(entry["temperature"])):
            if value is not None:
                yield Reading(printer, kind, place * entry["interval_s"], _number(value), sensor=sensor)


def _reading(printer: str, name: str, at: float, temperature: Value, target: Value, duty: Value, power: Value) -> Reading:
    unknown = target == UNKNOWN
    known = None if unknown else _number(target)
    return Reading(printer, name, at, _number(temperature), known, _number(duty), _number(power), target_unknown=unknown)


def _lives(scenario: Scenario, printer: str) -> Iterator[SourceReport]:
    every_s = scenario.told.get("alive_every_s")
    if every_s:
        count = floor(scenario.told.get("alive_until_s", scenario.ends_at) / every_s)
        yield from (SourceReport(f"{printer}/{scenario.told['kind']}", place * every_s, alive=True) for place in range(count + 1))


def _event(scenario: Scenario, entry: Mapping[str, Any]) -> list[Input]:
    at, kind = float(entry["at_s"]), scenario.told["kind"]
    told: dict[str, Callable[[], list[Input]]] = {
        "link down": lambda: [SourceReport("main", at, connected=False, why="connection refused")],
        "link up": lambda: [SourceReport("main", at, connected=True)],
        "gone": lambda: [SourceReport(f"anvil/{kind}", at, alive=False)],
        "alive": lambda: [SourceReport(f"anvil/{kind}", at, alive=True)],
        "relay": lambda: [RelayReport("plug", at, state=entry["state"])],
        "suspended": lambda: [Suspended(at, entry["slept_s"])],
        "retained": lambda: [Reading("anvil", kind, at, entry.get("temperature_c"), entry.get("target_c"), retained=True)],
        "target": lambda: [Reading("anvil", kind, at, target_c=entry["target_c"])],
        "burst": lambda: _burst(kind, at, series(entry["temperature"])),
        "reading": lambda: [Reading("anvil", kind, at, **{key: value for key, value in entry.items() if key not in {"at_s", "what"}})],
        "twice": lambda: [Reading("anvil", kind, at, entry["temperature_c"])] * 2,
    }
    return told[entry["what"]]()


def _burst(kind: str, at: float, values: list[Value]) -> list[Input]:
    return [Reading("anvil", kind, at + place * 0.0001, _number(value)) for place, value in enumerate(values)]


def _held(values: list[Value], count: int) -> list[Value]:
    """The last value goes on."""
    return values + values[-1:] * (count - len(values))


def _coarse(value: Value, resolution_k: float) -> Value:
    return value if not isinstance(value, float) or not resolution_k else round(value / resolution_k) * resolution_k


def _number(value: Value) -> float | None:
    assert value != UNKNOWN, "only a target can be unknown"
    return value
