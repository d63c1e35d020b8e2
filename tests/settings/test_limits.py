"""Where the limits of a heater come from."""

from dataclasses import fields, replace

import pytest

from watchdog.checks.registry import CHECKS
from watchdog.settings.bounds import limit_bounds
from watchdog.settings.feeds import Readings
from watchdog.settings.limits import Limit, fresh_checks, limits_by_check, resolve
from watchdog.settings.model import Heater, HeaterKind
from watchdog.thermal.heater_classes import CLASSES

KINDS: tuple[HeaterKind, ...] = ("bed", "hotend", "chamber")


def heater(kind: HeaterKind = "bed", interval_s: float = 2.0) -> Heater:
    return Heater(kind=kind, readings=Readings(broker="main", topic="bed", longest_interval_s=interval_s))


def limit(found: Heater, check: str, key: str) -> Limit:
    return next(one for one in resolve(found) if (one.check, one.key) == (check, key))


@pytest.mark.parametrize("kind", KINDS)
def test_every_limit_of_every_check_resolves_and_says_why(kind: HeaterKind) -> None:
    found = resolve(heater(kind))
    assert [(one.check, one.key) for one in found] == [(entry.name, field.name) for entry in CHECKS for field in fields(entry.limits)]
    assert all(one.why for one in found)
    assert {one.origin for one in found} == {"class of heater"}


@pytest.mark.parametrize("kind", KINDS)
def test_every_default_lies_within_the_bounds_of_settings(kind: HeaterKind) -> None:
    keys = {entry.name: entry.key for entry in CHECKS}
    for one in resolve(heater(kind)):
        bounds = limit_bounds(kind, keys[one.check], one.key)
        assert bounds is not None, f"{one.check} {one.key} has no bounds"
        assert bounds.hold(one.value), f"{one} is not within {bounds}"


@pytest.mark.parametrize("kind", KINDS)
def test_order_of_temperatures_holds_for_each_class(kind: HeaterKind) -> None:
    known = CLASSES[kind]
    assert known.normal_max_c < limit(heater(kind), "ceiling", "above_c").value <= known.harm_c <= known.highest_harm_c


def test_the_ceiling_follows_the_facts() -> None:
    found = limit(replace(heater(), normal_max_c=60.0, harm_c=70.0), "ceiling", "above_c")
    assert (found.value, found.origin) == (65.0, "facts")
    assert "60" in found.why
    assert "70" in found.why


def test_the_ceiling_follows_one_fact_and_the_class() -> None:
    found = limit(replace(heater(), normal_max_c=60.0), "ceiling", "above_c")
    assert (found.value, found.origin) == (75.0, "facts")


def test_settings_come_before_facts() -> None:
    found = limit(replace(heater(), normal_max_c=60.0, limits={"ceiling": {"above_c": 68.0}}), "ceiling", "above_c")
    assert (found.value, found.origin) == (68.0, "settings")


def test_a_slow_source_gets_a_longer_grace_and_the_reason_is_said() -> None:
    slow = heater(interval_s=20.0)
    grace, advice = limit(slow, "no readings", "grace_s"), limit(slow, "no readings", "advise_s")
    assert (grace.value, grace.origin) == (64.0, "facts")
    assert (advice.value, advice.origin) == (64.0, "facts")
    assert grace.why == "raised from 45 s, usual for a bed, to 3.2 reporting intervals of 20 s"


def test_a_source_of_ordinary_speed_changes_nothing() -> None:
    assert limit(heater(interval_s=14.0), "no readings", "grace_s").value == 45.0
    assert limit(heater(interval_s=14.1), "no readings", "grace_s").value == pytest.approx(45.12)


def test_advice_never_comes_after_a_chosen_cut() -> None:
    found = limit(replace(heater(), limits={"no_readings": {"grace_s": 8.0}}), "no readings", "advise_s")
    assert (found.value, found.origin) == (8.0, "facts")


def test_checks_are_built_anew_each_time_under_the_resolved_limits() -> None:
    chosen = replace(heater(), limits={"overshoot": {"band_k": 7.0}})
    limits = limits_by_check(chosen)
    one, other = fresh_checks(limits), fresh_checks(limits)
    assert [check.name for check in one] == [entry.name for entry in CHECKS]
    assert not {id(check) for check in one} & {id(check) for check in other}
    assert next(own for entry, own in limits if entry.key == "overshoot").band_k == 7.0
