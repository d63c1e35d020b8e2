"""Properties of the checks that see heat nobody asked for, and readings that cannot be true."""

from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick
from watchdog.core.plan import PrinterPlan


def trips(values: list[float], target_c: float | None = 0.0, duty: float | None = None) -> list[tuple[str, float]]:
    """Checks and times of the trips of a bed that is heard every second."""
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", float(at), value, target_c, duty) for at, value in enumerate(values)]
    return [(event.check, event.at) for event in events(feed(engine, *items, Tick(float(len(values)))), "trip")]


@given(st.floats(0.03, 0.5), st.floats(1.0, 4.0))
def test_a_steeper_unheated_rise_never_trips_later(slope: float, times: float) -> None:
    gentle, steep = (trips([22.0] * 70 + [22.0 + rate * place for place in range(400)]) for rate in (slope, slope * times))
    if gentle:
        assert steep
        assert steep[0][1] <= gentle[0][1]


@given(st.floats(0.0, 0.019))
def test_what_sun_can_do_never_trips(slope: float) -> None:
    assert trips([15.0 + slope * place for place in range(1800)]) == []


@given(st.lists(st.sampled_from([0.0, 0.1, -0.1]), min_size=200, max_size=400))
def test_ripple_around_a_cold_heater_never_trips(ripple: list[float]) -> None:
    assert trips([22.0 + step for step in ripple]) == []


@given(st.integers(0, 150), st.sampled_from([999.0, -45.0, 0.0, float("nan")]))
def test_one_wild_sample_of_a_cold_heater_never_trips(place: int, wild: float) -> None:
    values = [22.0] * 200
    values[place] = wild
    assert trips(values) == []


def test_heat_that_is_asked_for_is_no_unheated_rise() -> None:
    heating = [22.0] * 70 + [22.0 + 0.2 * place for place in range(180)]
    assert trips(heating, target_c=60.0) == []
    assert trips(heating, target_c=None) == []
    assert trips(heating, target_c=None, duty=1.0) == []
    assert [check for check, _ in trips(heating, target_c=None, duty=0.0)] == ["unheated rise"]
