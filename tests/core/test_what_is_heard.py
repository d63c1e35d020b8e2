"""What a heater's memory makes of words that fail, come twice, or come on change."""

import pytest
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading
from watchdog.core.plan import PrinterPlan


def engine(*, on_change: bool = False, sensors: dict[str, float] | None = None) -> Engine:
    return Engine(site(PrinterPlan("anvil", (heater(on_change=on_change, sensors=sensors or {}),), ("plug",))), 0.0)


def said(at: float, temperature_c: float | None, target_c: float | None = None, *, unknown: bool = False, sensor: str = "") -> Reading:
    return Reading("anvil", "bed", at, temperature_c, target_c, target_unknown=unknown, sensor=sensor)


def target_of(one: Engine) -> float | None:
    return one.site.heaters["anvil", "bed"].target_c


@pytest.mark.parametrize(("on_change", "after_one"), [(False, 60.0), (True, None)])
def test_of_a_periodic_source_one_null_target_takes_nothing_back_and_a_second_one_does(*, on_change: bool, after_one: float | None) -> None:
    """One that reports on change says it only once."""
    one = engine(on_change=on_change)
    feed(one, said(0.0, 60.0, 60.0), said(1.0, 60.0, unknown=True))
    assert target_of(one) == after_one
    feed(one, said(2.0, 60.0, 60.0), said(3.0, 60.0, unknown=True), said(4.0, 60.0, unknown=True))
    assert target_of(one) is None


def test_a_word_told_twice_is_one_even_when_another_sensor_speaks_in_between() -> None:
    one = engine(sensors={"glued": 2.0})
    feed(one, *(said(float(at), 60.0 + 0.1 * (at % 3), 60.0) for at in range(20)))
    before = one.site.heaters["anvil", "bed"].readings
    feed(one, said(20.0, 0.0, 60.0), said(20.01, 59.0, sensor="glued"), said(20.05, 0.0, 60.0))
    assert one.site.heaters["anvil", "bed"].readings == before + 2
    assert one.site.heaters["anvil", "bed"].ignored == 1


def test_a_source_on_change_that_speaks_more_often_has_no_second_publisher() -> None:
    """Seldom at its target, every second in a heat-up."""
    at_target = [said(6.0 * at, 60.0 + 0.3 * (at % 2), 60.0) for at in range(100)]
    heating = [said(600.0 + at, 60.5 + 0.4 * at, 90.0) for at in range(60)]
    heard = {on_change: feed(engine(on_change=on_change), *at_target, *heating) for on_change in (True, False)}
    assert events(heard[True], "second publisher") == []
    assert len(events(heard[False], "second publisher")) == 1
