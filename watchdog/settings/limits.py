"""The limits of every check of a heater: each value, where it comes from, and why.

The order is: the heater's settings; what was learnt from its recordings, only where that is tighter; what its facts imply; the
class of heater.
"""

from collections.abc import Callable
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache
from typing import Any, NamedTuple

from watchdog.checks.registry import CHECKS, Entry
from watchdog.core.check import Check
from watchdog.settings.arithmetic import outcome
from watchdog.settings.heater_facts import Origin, facts_of, harm, normal_max
from watchdog.settings.learnt import learnt_value
from watchdog.settings.model import Heater
from watchdog.thermal.bed import COLD_FACE_MM, bed
from watchdog.thermal.heater_classes import CLASSES, HeaterClass, ceiling_c

DEFAULT_INTERVALS = 3.2
"""A default grace, and the advice before it, lasts at least so many reporting intervals."""

LEAST_ABOVE_K = 15.0
"""A ceiling that lowers itself stays so far above the hottest target (common practice: a loop in order swings by less)."""

LEAST_STANDBY_W = 60.0
"""A printer's board, fans, motors and lights draw up to this much (common practice)."""

LEAST_RISE_W = 50.0
"""Fans and lights that come on while nothing heats (common practice)."""

MOST_OF_A_SWITCH = 0.75
"""A small heater is seen beside fans and lights only when its switch is closed whole."""

HALF_A_SWITCH = 0.4
"""One half wave of two is half the power; a little less to see it."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one check. `check` is the check's name, `key` the limit's; its unit is the ending of `key`."""

    check: str
    key: str
    value: float
    origin: Origin
    why: str


class _Value(NamedTuple):
    value: float
    origin: Origin
    why: str


def resolve(heater: Heater) -> tuple[Limit, ...]:
    """Every limit of every check of this heater, in the order of the registry."""
    return tuple(_limit(heater, entry, field) for entry in CHECKS for field in fields(entry.limits))


def limits_by_check(heater: Heater) -> tuple[tuple[Entry, Any], ...]:
    """The checks of this heater, each with its limits as its own dataclass. Heaters alike share them."""
    resolved = resolve(heater)
    return tuple((entry, _shared(entry, tuple((one.key, one.value) for one in resolved if one.check == entry.name))) for entry in CHECKS)


@cache
def _shared(entry: Entry, values: tuple[tuple[str, float], ...]) -> Any:  # noqa: ANN401 - an instance of entry.limits
    return entry.limits(**dict(values))


def fresh_checks(limits: tuple[tuple[Entry, Any], ...]) -> list[Check]:
    """New instances of all checks under these limits."""
    return [entry.build(own) for entry, own in limits]


def _limit(heater: Heater, entry: Entry, field: Field[Any]) -> Limit:
    chosen = heater.limits.get(entry.key, {}).get(field.name)
    if chosen is not None:
        found = _Value(chosen, "settings", "chosen in the printer's file")
    elif (entry.key, field.name) in _IMPLIED:
        found = _IMPLIED[entry.key, field.name](heater, CLASSES[heater.kind])
    else:
        found = _of_class(CLASSES[heater.kind], entry, field)
    learnt = learnt_value(heater, entry.key, field.name)
    if chosen is None and learnt is not None and heater.learnt is not None and learnt < found.value:
        found = _Value(learnt, "learnt", f"from {heater.learnt.hours:g} h of its recordings; {found.value:g} without them")
    return Limit(entry.name, field.name, *found)


def _of_class(kind: HeaterClass, entry: Entry, field: Field[Any]) -> _Value:
    usual = kind.limits.get(entry.name, {}).get(field.name)
    if usual is not None:
        return _Value(usual, "class of heater", f"usual for a {kind.name}")
    assert field.default is not MISSING, f"{kind.name} has no {entry.name} {field.name}"
    return _Value(field.default, "class of heater", "the same for heaters of every class")


def _ceiling(heater: Heater, kind: HeaterClass) -> _Value:
    normal, harmful = normal_max(heater), harm(heater)
    why = f"{kind.ceiling_above_k:g} K above normal_max_c {normal.value:g}, but no more than half way to harm_c {harmful.value:g}"
    usual_c = ceiling_c(kind, normal.value, harmful.value)
    lowered_c = _lowered(heater, kind, usual_c, normal.value)
    if lowered_c < usual_c:
        return _Value(lowered_c, "facts", f"lowered from {usual_c:g}, {why}: with that the power would be gone too late")
    origin: Origin = "class of heater" if normal.origin == harmful.origin == "class of heater" else "facts"
    return _Value(usual_c, origin, why if origin == "facts" else f"{why}, usual for a {kind.name}")


def _lowered(heater: Heater, kind: HeaterClass, usual_c: float, normal_c: float) -> float:
    """The usual ceiling, or the highest one below it that keeps this heater from harm; never so low that a usual swing reaches it."""
    confirm_s = heater.limits.get("ceiling", {}).get("confirm_s", kind.limits["ceiling"]["confirm_s"])
    steps = range(int(max(usual_c - normal_c - LEAST_ABOVE_K, 0.0)) + 1)
    for above_c in (usual_c - step for step in steps):
        found = outcome(heater, above_c, confirm_s)
        if found is None or found.protects:
            return above_c
    return usual_c


def _grace(heater: Heater, kind: HeaterClass) -> _Value:
    return _raised(heater, kind, "grace_s")


def _outage(heater: Heater, kind: HeaterClass) -> _Value:
    grace_s = heater.limits.get("no_readings", {}).get("grace_s")
    if grace_s is not None:
        return _Value(grace_s, "facts", f"no longer than the grace, which the settings put at {grace_s:g} s")
    usual, grace = kind.limits["no readings"]["outage_s"], _grace(heater, kind)
    return grace if grace.value > usual else _Value(usual, "class of heater", f"usual for a {kind.name}")


def _advice(heater: Heater, kind: HeaterClass) -> _Value:
    found = _raised(heater, kind, "advise_s")
    grace_s = heater.limits.get("no_readings", {}).get("grace_s")
    if grace_s is not None and grace_s < found.value:
        return _Value(grace_s, "facts", f"no later than the cut, which the settings put at {grace_s:g} s")
    return found


def _raised(heater: Heater, kind: HeaterClass, key: str) -> _Value:
    """The usual wait of its class, or longer for a source that reports seldom."""
    usual = kind.limits["no readings"][key]
    interval_s = heater.readings.longest_interval_s
    if DEFAULT_INTERVALS * interval_s <= usual:
        return _Value(usual, "class of heater", f"usual for a {kind.name}")
    why = f"raised from {usual:g} s, usual for a {kind.name}, to {DEFAULT_INTERVALS:g} reporting intervals of {interval_s:g} s"
    return _Value(DEFAULT_INTERVALS * interval_s, "facts", why)


def _highest_target(heater: Heater, kind: HeaterClass) -> _Value:
    chosen = heater.limits.get("ceiling", {}).get("above_c")
    if chosen is not None:
        return _Value(chosen, "facts", f"the ceiling, which the settings put at {chosen:g} degC")
    ceiling = _ceiling(heater, kind)
    return _Value(ceiling.value, ceiling.origin, "the ceiling" if ceiling.origin == "facts" else f"usual for a {kind.name}")


def _standby(heater: Heater, kind: HeaterClass) -> _Value:
    usual = kind.limits["power while off"]["above_w"]
    if heater.kind != "bed" or heater.rated_w is None:
        return _Value(usual, "class of heater", f"usual for the printer of a {kind.name}")
    value = max(LEAST_STANDBY_W, min(usual, HALF_A_SWITCH * heater.rated_w))
    why = f"{HALF_A_SWITCH:.0%} of {heater.rated_w:g} W, at least {LEAST_STANDBY_W:g} and at most {usual:g} W"
    return _Value(value, "facts", why)


def _more_power(heater: Heater, kind: HeaterClass) -> _Value:
    usual = kind.limits["power while off"]["rise_w"]
    if heater.rated_w is None:
        return _Value(usual, "class of heater", f"usual for the printer of a {kind.name}")
    share, least_w = (HALF_A_SWITCH, LEAST_STANDBY_W) if heater.kind == "bed" else (MOST_OF_A_SWITCH, LEAST_RISE_W)
    value = max(least_w, min(usual, share * heater.rated_w))
    return _Value(value, "facts", f"{share:.0%} of {heater.rated_w:g} W, at least {least_w:g} and at most {usual:g} W")


def _cold_share(heater: Heater, kind: HeaterClass) -> _Value:
    usual = kind.limits["no response"]["cold_share"]
    facts = facts_of(heater)
    body = bed(facts) if facts is not None and facts.kind == "bed" else None
    if body is None or body.cold_share >= usual:
        return _Value(usual, "class of heater", f"usual for a {kind.name}")
    return _Value(round(body.cold_share, 3), "facts", f"what {COLD_FACE_MM:g} mm of cold glass take from a plate of its facts")


_IMPLIED: dict[tuple[str, str], Callable[[Heater, HeaterClass], _Value]] = {
    ("ceiling", "above_c"): _ceiling,
    ("no_readings", "grace_s"): _grace,
    ("no_readings", "outage_s"): _outage,
    ("no_readings", "advise_s"): _advice,
    ("commanded_too_hot", "above_c"): _highest_target,
    ("no_response", "cold_share"): _cold_share,
    ("power_while_off", "above_w"): _standby,
    ("power_while_off", "rise_w"): _more_power,
}
