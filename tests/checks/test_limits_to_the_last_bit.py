"""At the limit, one ulp beside it, and a confirm time met exactly: which side is the documented one."""

from math import inf, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.plan import PrinterPlan
from watchdog.core.repeated import REPEAT_SHARE


def trips(
    samples: list[tuple[float, float]],
    *,
    limits: dict[str, dict[str, float]],
    target_c: float | None = None,
    until: float = 0.0,
    interval_s: float = 2.0,
) -> list[tuple[str, float]]:
    """Checks and times of the trips of a bed. Silence is given long, unless a test limits it."""
    patient = {"no_readings": {"advise_s": 3000.0, "grace_s": 3600.0}}
    engine = Engine(site(PrinterPlan("anvil", (heater(limits=patient | limits, interval_s=interval_s),), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", at, temperature_c, target_c) for at, temperature_c in samples]
    return [(event.check, event.at) for event in events(feed(engine, *items, Tick(max(until, items[-1].at))), "trip")]


def above(value: float) -> float:
    return nextafter(value, inf)


def below(value: float) -> float:
    return nextafter(value, -inf)


@given(st.floats(50.0, 190.0))
def test_a_reading_at_the_ceiling_is_allowed_and_one_ulp_above_is_not(limit_c: float) -> None:
    limits = {"ceiling": {"above_c": limit_c, "confirm_s": 3.0}}
    times = [0.0, 1.0, 2.0, 3.0]
    assert trips([(at, limit_c) for at in times], limits=limits) == []
    assert trips([(at, below(limit_c)) for at in times], limits=limits) == []
    assert trips([(at, above(limit_c)) for at in times], limits=limits) == [("ceiling", 3.0)]


@given(st.sampled_from([0.25, 0.5, 1.5, 3.0, 10.0]))
def test_a_confirm_time_met_exactly_is_met(confirm_s: float) -> None:
    limits = {"ceiling": {"confirm_s": confirm_s}}
    assert trips([(0.0, 130.0), (confirm_s, 130.0)], limits=limits) == [("ceiling", confirm_s)]
    assert trips([(0.0, 130.0), (below(confirm_s), 130.0)], limits=limits) == []


def test_open_and_shorted_sensors_begin_one_ulp_beyond_their_limits() -> None:
    limits = {"ceiling": {"above_c": 240.0}, "out_of_range": {"hottest_c": 200.0, "frost_c": -35.0, "coldest_c": -10.0, "confirm_s": 2.0}}

    def out_of_range(temperature_c: float, before_c: float) -> bool:
        found = trips([(0.0, before_c), *((1.0 + at, temperature_c) for at in range(3))], limits=limits)
        return [check for check, _ in found] == ["out of range"]

    assert not out_of_range(200.0, 60.0)
    assert out_of_range(above(200.0), 60.0)
    assert not out_of_range(-10.0, 60.0)
    assert out_of_range(below(-10.0), 60.0)
    assert not out_of_range(-35.0, -30.0)
    assert out_of_range(below(-35.0), -30.0)
    assert not out_of_range(-20.0, -8.0)  # 12 K in one step is weather
    assert out_of_range(below(-20.0), -8.0)


def test_the_band_itself_is_within_the_band() -> None:
    limits = {"overshoot": {"band_k": 15.0, "hang_s": 20.0}}
    at_band = [(float(at), 75.0) for at in range(40)]
    assert trips(at_band, limits=limits, target_c=60.0) == []
    assert trips([(at, above(75.0)) for at, _ in at_band], limits=limits, target_c=60.0) == [("overshoot", 20.0)]


def test_a_rise_met_exactly_is_a_rise() -> None:
    limits = {"overshoot": {"band_k": 15.0, "rise_k": 3.0, "confirm_s": 10.0, "hang_s": 900.0}}
    start = [(0.0, 80.0)]
    assert trips([*start, *((float(at), 83.0) for at in range(1, 11))], limits=limits, target_c=60.0) == [("overshoot", 10.0)]
    assert trips([*start, *((float(at), below(83.0)) for at in range(1, 31))], limits=limits, target_c=60.0) == []
    assert trips([*start, *((at * 0.999, 83.0) for at in range(1, 11))], limits=limits, target_c=60.0) == []


def test_a_grace_met_exactly_is_over() -> None:
    limits = {"no_readings": {"advise_s": 10.0, "grace_s": 45.0}}
    assert trips([(5.0, 60.0)], limits=limits, target_c=60.0, until=50.0) == [("no readings", 50.0)]
    assert trips([(5.0, 60.0)], limits=limits, target_c=60.0, until=below(50.0)) == []
    assert trips([(5.0, 60.0), (below(50.0), 60.0)], limits=limits, target_c=60.0, until=60.0) == []
    late = trips([(5.0, 60.0), (50.0, 60.0)], limits=limits, target_c=60.0)
    assert late == [("no readings", 50.0)]  # what falls due at a moment comes before what arrives at it


def test_the_word_at_which_silence_would_have_stood_comes_too_late() -> None:
    """Deadlines run first: a reading that comes at the very moment does not undo the ceiling's."""
    samples = [(0.0, 130.0), (1.0, 130.0), (6.0, 60.0)]
    assert trips(samples, limits={}, interval_s=2.0) == [("ceiling", 6.0)]
    assert trips([*samples[:2], (below(6.0), 60.0)], limits={}, interval_s=2.0, until=7.0) == []


temperatures = st.lists(st.sampled_from([100.0, 119.0, 120.0, 121.0, 150.0, 199.0]), min_size=3, max_size=40)


@given(temperatures, st.data())
def test_a_hotter_series_never_trips_the_ceiling_later(series: list[float], data: st.DataObject) -> None:
    """Within range, at the same times, no value lower: then the trip is no later.

    But for what a message that says the very same again may lack: it is no news, one that says more is, and when readings stop the
    silence counts from the last news.
    """
    steps = data.draw(st.lists(st.sampled_from([0.5, 1.0, 2.0, 2.9, 5.5]), min_size=len(series), max_size=len(series)))
    lifts = data.draw(st.lists(st.sampled_from([0.0, 0.0, 1.0, 30.0]), min_size=len(series), max_size=len(series)))
    at, cooler = 0.0, []
    for step_s, value in zip(steps, series, strict=True):
        at += step_s
        cooler.append((at, value))
    hotter = [(when, min(value + lift, 199.0)) for (when, value), lift in zip(cooler, lifts, strict=True)]
    first, second = (trips(samples, limits={}, until=at + 10.0) for samples in (cooler, hotter))
    if first:
        assert second
        assert second[0][1] <= first[0][1] + REPEAT_SHARE * 2.0


@pytest.mark.parametrize("kind", ["temperature", "target"])
def test_nan_that_slipped_in_never_counts_as_well(kind: str) -> None:
    nan = float("nan")
    spoilt = (nan, 60.0) if kind == "temperature" else (24.0, nan)
    count = 300 if kind == "temperature" else 30
    items = [Reading("anvil", "bed", float(at), *((24.0, 60.0) if at < 10 else spoilt)) for at in range(count)]
    tripped = events(feed(Engine(site(), 0.0), *items, Tick(400.0)), "trip")
    assert [event.check for event in tripped] == (["ceiling"] if kind == "temperature" else ["commanded too hot"])


@given(st.lists(st.sampled_from([60.0, 130.0, float("nan")]), min_size=10, max_size=40))
def test_nan_never_makes_a_series_look_cooler(values: list[float]) -> None:
    """Whatever trips with 60 in the places of NaN trips with NaN, too, and no later."""
    plain = trips([(float(at), 60.0 if value != value else value) for at, value in enumerate(values)], limits={})  # noqa: PLR0124 - NaN
    slipped = trips([(float(at), value) for at, value in enumerate(values)], limits={})
    if plain:
        assert slipped
        assert slipped[0][1] <= plain[0][1]
