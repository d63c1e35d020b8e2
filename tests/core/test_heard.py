"""What counts as news: doubled and late messages, bursts, second voices, second sensors, sleep."""

import pytest
from rig.feeding import events, feed, steady
from rig.plans import heater, plug, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, SourceReport, Suspended, Tick, TripByHand, Unusable
from watchdog.core.outputs import Event, RelayOrder
from watchdog.core.plan import HeaterPlan, PrinterPlan


def engine_with(plan: HeaterPlan | None = None) -> Engine:
    return Engine(site(PrinterPlan("anvil", (plan or heater(),), ("plug",))), 0.0)


def test_what_is_older_than_the_last_word_is_no_evidence() -> None:
    engine = engine_with()
    feed(engine, *steady(60.0, 10.0, 3))
    feed(engine, *steady(190.0, 5.0, 5, step=0.5))
    found = engine.site.heaters["anvil", "bed"]
    assert (found.temperature_c, found.ignored, found.readings) == (60.0, 5, 3)


def test_the_same_message_twice_is_no_second_reading() -> None:
    engine = engine_with()
    reading = Reading("anvil", "bed", 1.0, 130.0)
    feed(engine, reading, reading, Reading("anvil", "bed", 1.0, target_c=60.0))
    assert engine.site.heaters["anvil", "bed"].ignored == 1
    assert engine.site.heaters["anvil", "bed"].target_c == 60.0


def test_a_reading_that_waited_while_time_went_on_is_still_news() -> None:
    """Reports overtake readings in the guard: a deadline that ran, or a word of another source, makes a reading no older."""
    engine = engine_with()
    feed(engine, *steady(60.0, 0.0, 3), Tick(30.0), SourceReport("anvil/bed", 30.0, alive=True))
    feed(engine, Reading("anvil", "bed", 29.5, 61.0))
    found = engine.site.heaters["anvil", "bed"]
    assert (found.temperature_c, found.temperature_at, found.ignored) == (61.0, 30.0, 0)


def test_strangers_are_counted_and_nothing_else() -> None:
    engine = engine_with()
    assert feed(engine, Reading("anvil", "chamber", 1.0, 500.0), Reading("nobody", "", 1.0, power_w=9.0)) == []
    assert engine.site.unknown == 2


def test_a_message_without_a_usable_value_is_told_once_a_minute_and_never_fresh() -> None:
    engine = engine_with()
    useless = [Unusable("anvil", "bed", 1.0 + at, "not a number") for at in range(100)]
    outputs = feed(engine, *steady(60.0, 0.0, 1, target_c=60.0), *useless)
    assert [event.at for event in events(outputs, "unusable")] == [1.0, 61.0]
    assert [(event.check, event.at) for event in events(outputs, "trip")] == [("no readings", 45.0)]
    assert engine.site.heaters["anvil", "bed"].unusable == 100


def test_a_burst_is_told_counts_its_newest_value_and_leaves_the_slope_alone() -> None:
    engine = engine_with()
    feed(engine, *steady(60.0, 0.0, 60))
    burst: list[Input] = [Reading("anvil", "bed", 60.5 + place * 0.0001, 20.0 + place * 0.01) for place in range(1000)]
    outputs = feed(engine, *burst, *steady(60.0, 61.0, 30))
    assert len(events(outputs, "burst")) == 1
    assert not events(outputs, "second publisher")
    slope = engine.site.heaters["anvil", "bed"].slope_k_per_s()
    assert slope is not None
    assert abs(slope) < 0.1


def test_after_a_burst_its_newest_value_is_judged_without_waiting_for_more() -> None:
    engine = engine_with(heater(limits={"ceiling": {"confirm_s": 0.0}}))
    outputs = feed(engine, *(Reading("anvil", "bed", 1.0 + place * 0.0001, 60.0 if place < 50 else 130.0) for place in range(60)))
    assert not events(outputs, "trip")
    assert [event.check for event in events(feed(engine, Tick(1.5)), "trip")] == ["ceiling"]


def test_a_quick_source_that_is_seldom_quiet_for_long_is_no_burst() -> None:
    engine = engine_with(heater(on_change=True, interval_s=40.0))
    assert not events(feed(engine, *steady(60.0, 0.0, 100, step=0.1)), "burst")


def test_a_second_publisher_is_told_once() -> None:
    engine = engine_with()
    both = [Reading("anvil", "bed", 120.0 + place * 0.5, 60.0 + place % 2) for place in range(400)]
    outputs = feed(engine, *steady(60.0, 0.0, 120), *both)
    assert len(events(outputs, "second publisher")) == 1
    assert events(outputs, "second publisher")[0].numbers["times"] == pytest.approx(2.0, abs=0.1)


def test_a_source_that_slows_down_or_pauses_is_no_second_publisher() -> None:
    engine = engine_with()
    items = [*steady(60.0, 0.0, 60), *steady(60.0, 80.0, 30, step=2.0), *steady(60.0, 150.0, 60)]
    assert not events(feed(engine, *items), "second publisher")


def test_a_sleep_forgets_what_was_heard_and_no_deadline_counts_it() -> None:
    engine = engine_with()
    outputs = feed(engine, *steady(60.0, 0.0, 30, target_c=60.0), Suspended(4000.0, 3970.0), Tick(4010.0))
    assert [event.kind for event in outputs if isinstance(event, Event)] == ["suspended"]
    assert engine.site.heaters["anvil", "bed"].temperature_c is None


def test_a_cut_that_was_under_way_gets_its_time_once_more_after_a_sleep() -> None:
    engine = engine_with()
    outputs = feed(engine, *steady(60.0, 0.0, 3), TripByHand("anvil", 3.0, "Robin", "smell"), Suspended(900.0, 890.0))
    assert not events(outputs, "relay failed")
    outputs = feed(engine, Tick(900.0))
    assert [output for output in outputs if isinstance(output, RelayOrder)]  # OFF once more, at once
    assert not events(outputs, "relay failed")
    outputs = feed(engine, RelayReport("plug", 901.0, state="off"))
    assert events(outputs, "cut confirmed")


def test_a_second_sensor_is_no_word_of_the_controller() -> None:
    """It has a board of its own: it neither resumes what is silent nor shows that a printer is fed."""
    engine = Engine(site(PrinterPlan("anvil", (heater(sensors={"glued": 2.0}),), ("plug",))), 0.0)
    feed(engine, *steady(24.0, 0.0, 5, target_c=0.0), Tick(60.0))
    found = engine.site.heaters["anvil", "bed"]
    assert found.silent_told
    outputs = feed(engine, Reading("anvil", "bed", 61.0, 25.0, sensor="glued"))
    assert found.silent_told
    assert not events(outputs, "readings resumed")
    assert found.source.alive_at == 4.0


def test_a_second_sensor_never_proves_a_cut_nor_that_it_was_fed_another_way() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(sensors={"glued": 2.0}),), ("plug",)), relays=(plug(),)), 0.0)
    feed(engine, *steady(130.0, 0.0, 4), RelayReport("plug", 4.0, state="off"))
    glued: list[Input] = [Reading("anvil", "bed", 5.0 + at, 100.0, sensor="glued") for at in range(60)]
    outputs = feed(engine, *glued)
    assert not events(outputs, "cut proven")
    assert not events(outputs, "fed another way")


def test_a_time_from_far_away_is_taken_as_now() -> None:
    engine = engine_with()
    feed(engine, *steady(60.0, 0.0, 3), Reading("anvil", "bed", 1e300, 61.0), *steady(62.0, 3.0, 1))
    assert engine.now == 3.0
    assert engine.site.heaters["anvil", "bed"].temperature_c == 62.0


def test_a_silence_found_just_before_a_sleep_is_not_told_after_it() -> None:
    engine = engine_with()
    feed(engine, *steady(60.0, 0.0, 3, target_c=60.0), Tick(17.5))  # found silent at 17, to be told at 18
    outputs = feed(engine, Suspended(5000.0, 4980.0), Tick(5010.0))
    assert not events(outputs, "readings stopped")
