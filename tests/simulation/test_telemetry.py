"""What is said over the wire, and what can go wrong with it."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise
from statistics import fmean

import pytest

from watchdog.core.inputs import Reading, SourceReport, Unusable
from watchdog.simulation.channel import Message
from watchdog.simulation.events import Event, OtherLoad, SwitchFails, TuningStarts
from watchdog.simulation.facts import HeaterFacts, PrinterFacts
from watchdog.simulation.parts import HeaterSetup, MeterSpec, Telemetry
from watchdog.simulation.running import readings, run, stamped
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensing import SensorSpec
from watchdog.simulation.sensor_events import BridgeFreezes, Glitch, LinkDown, SensorShows, TemperatureMissing, UnitChanges
from watchdog.simulation.voices import WILL_DELAY_S

BED = HeaterFacts(
    kind="bed", rated_w=250.0, normal_max_c=90.0, harm_c=130.0, width_mm=220.0, depth_mm=220.0, plate_mm=3.0, plate_material="aluminium"
)
PRINTER = PrinterFacts(name="bramble", heaters={"bed": BED}, standby_w=9.0, fans_w=6.0)
SENSORS = {"": SensorSpec(noise_k=0.05, resolution_k=0.01)}


def bed(telemetry: Telemetry, *events: Event, target_c: float = 60.0, sensors: dict[str, SensorSpec] | None = None) -> Scenario:
    setup = {"bed": HeaterSetup(schedule=((60.0, target_c), (900.0, 0.0)), sensors=sensors or SENSORS)}
    return Scenario(printer=PRINTER, setup=setup, events=events, telemetry=telemetry)


def told(scenario: Scenario, until_s: float = 600.0) -> list[Message]:
    return [message for moment in run(scenario, 11, until_s) for message in moment.messages]


def heard(scenario: Scenario, until_s: float = 600.0) -> list[Reading]:
    return list(readings(scenario, 11, until_s))


def gaps_s(messages: list[Reading]) -> list[float]:
    return [later.at - earlier.at for earlier, later in pairwise(messages)]


@pytest.mark.parametrize("period_s", [0.5, 1.0, 2.0, 5.0])
def test_a_periodic_source_keeps_its_period_but_for_jitter(period_s: float) -> None:
    gaps = gaps_s(heard(bed(Telemetry(period_s=period_s, jitter_s=0.1))))
    assert fmean(gaps) == pytest.approx(period_s, rel=0.01)
    assert max(gaps) <= period_s + 0.25 + 0.1
    assert len(set(gaps)) > 10


def test_targets_and_duty_are_told_or_left_out() -> None:
    everything = heard(bed(Telemetry()))
    assert {reading.target_c for reading in everything} == {0.0, 60.0}
    assert max(reading.duty or 0.0 for reading in everything) == 1.0
    less = heard(bed(Telemetry(reports_target=False, reports_duty=False)))
    assert {(reading.target_c, reading.duty) for reading in less} == {(None, None)}


def test_a_late_target_comes_so_many_seconds_later() -> None:
    first = next(reading for reading in heard(bed(Telemetry(target_late_s=7.0, jitter_s=0.0))) if reading.target_c == 60.0)
    assert 67.0 <= first.at <= 68.5
    assert (first.duty or 0.0) > 0.5


def test_a_source_on_change_is_silent_until_something_changes() -> None:
    idle = bed(Telemetry(on_change_k=0.5, heartbeat_s=30.0, jitter_s=0.0), target_c=0.0)
    assert gaps_s(heard(idle)) == pytest.approx([30.0] * 19, abs=1.1)
    busy = heard(bed(Telemetry(on_change_k=0.5, heartbeat_s=30.0, jitter_s=0.0)))
    assert any(reading.target_c == 60.0 and reading.at < 62.0 for reading in busy)
    heating = [reading for reading in busy if 70.0 < reading.at < 120.0]
    assert len(heating) > 20


def test_presence_stands_in_for_a_heartbeat_reading() -> None:
    idle = told(bed(Telemetry(on_change_k=0.5, heartbeat_s=30.0, presence=True), target_c=0.0))
    assert Counter(type(message) for message in idle) == {Reading: 1, SourceReport: 19}
    assert {message.source for message in idle if isinstance(message, SourceReport) and message.alive} == {"bramble/bed"}


def test_a_gap_swallows_what_was_said_or_brings_it_in_one_burst() -> None:
    lost = heard(bed(Telemetry(), LinkDown(100.0, 20.0)))
    assert max(gaps_s(lost)) == pytest.approx(20.5, abs=1.0)
    kept = heard(bed(Telemetry(), LinkDown(100.0, 20.0, keeps=True)))
    burst = [gap for gap in gaps_s(kept) if gap < 0.01]
    assert 18 <= len(burst) <= 21
    assert len(kept) == pytest.approx(len(lost) + 20, abs=1)
    assert [reading.at for reading in kept] == sorted(reading.at for reading in kept)


def test_silence_never_ends_and_a_last_will_may_tell_of_it() -> None:
    messages = told(bed(Telemetry(), LinkDown(100.0, will=True)))
    assert max(message.at for message in messages if isinstance(message, Reading)) < 100.5
    wills = [message for message in messages if isinstance(message, SourceReport)]
    assert [(will.source, will.alive) for will in wills] == [("bramble/bed", False)]
    assert wills[0].at == pytest.approx(100.0 + WILL_DELAY_S)


def test_duplicates_say_the_same_again() -> None:
    messages = heard(bed(Telemetry(duplicates=0.25)))
    counts = Counter(reading._replace(at=0.0) for reading in messages)
    assert len(messages) == pytest.approx(600 * 1.25, rel=0.1)
    assert counts.most_common(1)[0][1] >= 2


def test_nulls_come_in_all_their_forms() -> None:
    messages = told(bed(Telemetry(nulls=0.3)))
    assert any(isinstance(message, Unusable) for message in messages)
    found = [message for message in messages if isinstance(message, Reading)]
    assert any(message.target_unknown and message.target_c is None for message in found)
    assert any(message.temperature_c is None and message.target_c is not None for message in found)


def test_a_glitch_is_one_sample_and_no_more() -> None:
    wild = [reading for reading in heard(bed(Telemetry(), Glitch(200.0, "bed", (999.0,)))) if (reading.temperature_c or 0.0) > 900.0]
    assert len(wild) == 1
    assert wild[0].at == pytest.approx(200.5, abs=0.8)


def test_glitches_by_share_are_wild_values() -> None:
    spec = Telemetry(glitches=0.05, glitch_c=(999.0,))
    assert sum(reading.temperature_c == 999.0 for reading in heard(bed(spec))) == pytest.approx(30, abs=20)


def test_a_frozen_bridge_repeats_every_field_but_goes_on_in_time() -> None:
    messages = [reading for reading in heard(bed(Telemetry(), BridgeFreezes(100.0, 200.0))) if 101.0 < reading.at < 300.0]
    assert len(messages) > 190
    assert len({reading._replace(at=0.0) for reading in messages}) == 1
    assert len({reading.at for reading in messages}) == len(messages)


def test_messages_without_a_temperature_keep_their_target() -> None:
    late = [reading for reading in heard(bed(Telemetry(), TemperatureMissing(300.0))) if reading.at > 301.0]
    assert {(reading.temperature_c, reading.target_c) for reading in late} == {(None, 60.0)}


def test_leftovers_are_marked_as_retained_and_come_first() -> None:
    messages = heard(bed(Telemetry(retained=(81.0, 70.0)), target_c=0.0))
    assert messages[0] == Reading("bramble", "bed", 0.0, 81.0, 70.0, retained=True)
    assert not any(reading.retained for reading in messages[1:])


def test_a_second_sensor_speaks_under_its_own_name_and_without_a_target() -> None:
    sensors = {**SENSORS, "glued": SensorSpec(tau_s=20.0, offset_k=3.0)}
    messages = heard(bed(Telemetry(), sensors=sensors))
    second = [reading for reading in messages if reading.sensor == "glued"]
    assert len(second) == pytest.approx(600, abs=2)
    assert {(reading.target_c, reading.duty) for reading in second} == {(None, None)}
    settled = {reading.sensor: reading.temperature_c or 0.0 for reading in messages if reading.at > 590.0}
    assert settled["glued"] - settled[""] == pytest.approx(3.0, abs=0.5)
    rising = {reading.sensor: reading.temperature_c or 0.0 for reading in messages if 85.0 < reading.at < 90.0}
    assert rising[""] - (rising["glued"] - 3.0) > 5.0, "it lags"


def test_the_meter_sees_standby_fans_heat_and_lights() -> None:
    meter = MeterSpec(period_s=5.0, lag_s=1.0, resolution_w=0.1, noise_w=0.0)
    power = {round(r.at): r.power_w or 0.0 for r in heard(bed(Telemetry(meter=meter), OtherLoad(20.0, 12.0)), 1800.0) if not r.heater}
    before, lit, heating, after = (
        fmean(watts for at_s, watts in power.items() if low < at_s < high) for low, high in ((4, 20), (30, 60), (75, 90), (960, 1800))
    )
    assert before == pytest.approx(9.0, abs=0.3)
    assert lit == pytest.approx(21.0, abs=0.3)
    assert heating == pytest.approx(21.0 + 6.0 + 250.0 / 0.88, rel=0.02)
    assert after == pytest.approx(21.0, abs=0.3)


def test_a_slow_meter_still_shows_heat_after_the_end() -> None:
    closed = SwitchFails(0.0, "bed", "closed")
    opened = SwitchFails(300.0, "bed", "open")
    meter = MeterSpec(period_s=5.0, lag_s=20.0)
    power = [r.power_w or 0.0 for r in heard(bed(Telemetry(meter=meter), closed, opened)) if not r.heater and 305.0 < r.at < 315.0]
    assert power
    assert min(power) > 100.0


def test_broken_wires_tuning_runs_and_units_show_in_the_readings() -> None:
    opened = heard(bed(Telemetry(), SensorShows(200.0, "bed", -51.9)))
    assert opened[-1].temperature_c == pytest.approx(-51.9, abs=0.01)
    assert opened[-1].duty == 1.0
    tuned = heard(bed(Telemetry(), TuningStarts(10.0, "bed", 50.0, reports_off=True), target_c=0.0))
    assert max(reading.temperature_c or 0.0 for reading in tuned) > 50.0
    assert {reading.target_c for reading in tuned} == {0.0}
    changed = heard(bed(Telemetry(), UnitChanges(500.0, "bed", "F")))
    assert changed[-1].temperature_c == pytest.approx(140.0, abs=2.0)


def test_a_clock_set_back_shows_in_stamps_and_nowhere_else() -> None:
    scenario = replace(bed(Telemetry()), clock_back=(300.0, 3600.0))
    rows = list(stamped(scenario, readings(scenario, 11, 600.0), epoch_s=1_700_000_000.0))
    stamps = [float(stamp) for stamp, _ in rows]
    backwards = [later - earlier for earlier, later in pairwise(stamps) if later < earlier]
    assert backwards == [pytest.approx(-3599.0, abs=0.3)]
    assert [reading for _, reading in rows] == heard(bed(Telemetry()))
