"""Heaters that other people recorded, with the verdicts that others gave: what must stay quiet does, what must trip does in time.

None of them is a printer, so each rig gets limits to its scale; the physics of a check are never tuned to a file. A verdict that
is not met stands in DEVIATIONS with its reason, and fails here as soon as it is met.
"""

import csv
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import pytest
from rig.outside import rig_heater, rig_site, said_of, shared

from watchdog.core.values import JsonObject
from watchdog.replay.runner import Verdict, replay
from watchdog.settings.model import Heater
from watchdog.sources.recordings import Recording
from watchdog.wire.log_format import LogRow

RECORDINGS = shared("recordings")

# The teaching kit: a 4 g aluminium fin under a transistor, one reading a second, used up to 67 degC. Its plastic softens near 100.
# It is told once a second and a silence of 30 s must trip, so that the grace is 15 s; at 30 degC it is cold, not at 50.
KIT = rig_heater("bed", 3.0, 70.0, 100.0, {"no_readings": {"advise_s": 8.0, "grace_s": 15.0, "cold_c": 30.0}})

# A litre of water has 4.2 kJ/K and rises by 0.015 K/s, where the weakest bed makes 0.017. Boils at 100 degC; 7 to 10 s a reading.
POT = rig_heater("bed", 20.0, 105.0, 130.0, {"no_response": {"within_s": 600.0}})

RIGS: dict[str, dict[str, Heater]] = {
    "tclab_real": {"h1": KIT, "h2": KIT},
    "tclab_sim": {"h1": replace(KIT, sensors={"probe2": KIT.readings}), "h2": KIT},
    # A 12 V pad, used up to 60 degC, one reading in 10 s, up to two of them empty in a row.
    "mycoreactor_heating_pad": {"pad": rig_heater("bed", 30.0, 60.0, 80.0)},
    # An insulated box of electronics held at 32 degC by some watts: slow as a chamber.
    "box_heater_pid": {"box": rig_heater("chamber", 3.0, 40.0, 60.0)},
    # A thermistor oven for a reference, held at 25 degC, two readings a second.
    "analog_oven_thermistor": {"oven": rig_heater("chamber", 2.0, 30.0, 50.0)},
    "cooking_pot_90C": {
        **dict.fromkeys(("control_T3", "average", "water", *(f"tc{number}" for number in range(1, 10))), POT),
        # This one sits in the hot plate, not in the water.
        "tc10": rig_heater("bed", 20.0, 200.0, 250.0),
    },
    # A crucible in a vacuum, run up to 1205 degC; a shorted sensor would show more than the pyrometer's 1500. Up to 5 s a reading.
    "induction_furnace": {"crucible": rig_heater("hotend", 10.0, 1250.0, 1300.0, {"out_of_range": {"hottest_c": 1500.0}})},
    # A machine that becomes 108 degC hot by itself and is read in 5 min, and a room that is read once an hour.
    "nab_temperature": {"machine": rig_heater("bed", 600.0, 110.0, 130.0), "ambient": rig_heater("chamber", 7200.0, 40.0, 60.0)},
}

DEVIATIONS = {
    "tclab_sim/trip_frozen_sensor_heating.csv": "no target is told, so that standing still at 80 % duty may be a plateau: the pot stands "
    "for 360 s at full duty and is well; the sensor's noise, an eighth of its step, does not show either",
    "induction_furnace/sensor_floor_run085.csv": "no target is told, and duty is judged only beside one: normal_run077 sits on "
    "the same floor up to 8 % duty and is well, this one still does at 16 %",
}

DEPENDS = {
    # A room of 73 degC is under the ceiling of 85 degC, and what is heated to 50 degC shows 122.
    "tclab_real/TRAP_fahrenheit.csv": "ceiling",
    # One word of -45 that the next one denies is no fault, and 10 K over the target are within the band.
    "mycoreactor_heating_pad/202602111405.csv": "",
}
"""What comes of the verdicts that depend on settings, under those above: the check that trips, or nothing."""


class Label(NamedTuple):
    """What a file must lead to; seconds since its beginning."""

    file: str
    expect: str
    onset_s: float
    trip_by_s: float

    @property
    def folder(self) -> str:
        return self.file.split("/")[0]


def labels() -> Iterator[Label]:
    with (RECORDINGS / "labels.csv").open(newline="") as lines:
        for row in csv.DictReader(lines):
            yield Label(row["file"], row["expect"], float(row["onset_s"] or 0.0), float(row["trip_by_s"] or "inf"))


LABELS = list(labels())


@cache
def heard_in(file: str) -> tuple[str, frozenset[str]]:
    """The printer of a file and all of its heaters."""
    with (RECORDINGS / file).open(newline="") as lines:
        rows = [(row["printer"], row["heater"]) for row in csv.DictReader(lines)]
    return rows[0][0], frozenset(heater for _, heater in rows)


def judged(label: Label, heaters: dict[str, Heater] | None = None) -> Verdict:
    """The whole file under the settings of its rig."""
    printer, heard = heard_in(label.file)
    known = {name: heater for name, heater in (heaters or RIGS[label.folder]).items() if name in heard}
    return replay(rig_site(printer, known), Probed(RECORDINGS / label.file))


class Probed(Recording):
    """What stands there as a heater of its own, H1_probe2, is a second sensor of H1."""

    def rows(self) -> Iterator[LogRow]:
        for stamp, reading in super().rows():
            heater, probe, number = reading.heater.partition("_probe")
            yield stamp, reading._replace(heater=heater, sensor=f"probe{number}") if probe else reading


def met(label: Label, trips: list[JsonObject]) -> bool:
    """True when the first trip, or that there is none, is what the label asks for."""
    if label.expect == "quiet":
        return not trips
    return bool(trips) and label.onset_s <= float(trips[0]["time"]) <= label.trip_by_s


@pytest.mark.parametrize("label", [one for one in LABELS if one.expect != "depends"], ids=lambda label: label.file)
def test_each_verdict_is_met_or_its_deviation_has_a_reason(label: Label) -> None:
    verdict = judged(label)
    assert verdict.readings > 0
    if label.file in DEVIATIONS:
        assert not met(label, verdict.trips), f"no deviation any more, take it from the list: {said_of(verdict.trips)}"
    else:
        assert met(label, verdict.trips), f"{label.expect} wanted within {label.onset_s} to {label.trip_by_s} s: {said_of(verdict.trips)}"


@pytest.mark.parametrize("label", [one for one in LABELS if one.expect == "depends"], ids=lambda label: label.file)
def test_what_depends_on_settings_comes_out_as_documented(label: Label) -> None:
    verdict = judged(label)
    assert [trip["check"] for trip in verdict.trips][:1] == [check for check in [DEPENDS[label.file]] if check], said_of(verdict.trips)


def test_degrees_fahrenheit_taken_for_celsius_are_nothing_to_trip_on_under_a_high_ceiling() -> None:
    """What the label says: under a ceiling of 130 degC all of it is physical."""
    label = next(one for one in LABELS if one.file == "tclab_real/TRAP_fahrenheit.csv")
    verdict = judged(label, {"h1": rig_heater("bed", 3.0, 115.0, 145.0)})
    assert not verdict.trips, said_of(verdict.trips)


def test_every_table_speaks_of_files_that_are_labelled() -> None:
    files = {label.file: label for label in LABELS}
    assert set(DEVIATIONS) <= set(files)
    assert set(DEPENDS) == {file for file, label in files.items() if label.expect == "depends"}
    assert set(RIGS) == {label.folder for label in LABELS}
    assert {str(path.relative_to(RECORDINGS)) for path in RECORDINGS.glob("*/*.csv")} == set(files)


def test_a_clock_that_is_set_back_and_times_that_repeat_are_noticed() -> None:
    """Told by the README of the recordings: one clock set back by 3300 s, and 969 rows with the time stamp of the row before."""
    by_file = {label.file: label for label in LABELS}
    assert judged(by_file["nab_temperature/machine_temperature_system_failure.csv"]).set_back == 1
    duplicates = judged(by_file["induction_furnace/duplicate_times_run035.csv"])
    assert (duplicates.readings, duplicates.set_back, duplicates.late) == (3940, 0, 0)
