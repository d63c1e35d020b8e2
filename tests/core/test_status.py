"""What people are told of the state of a site: it must never look better than it is."""

from dataclasses import replace
from typing import Any

import orjson
import pytest
from rig.plans import heater, plug, site, workshop

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, Reset, SourceReport, Tick, TripByHand, Unusable
from watchdog.core.plan import PrinterPlan
from watchdog.core.status import site_status


def shown(engine: Engine, printer: str = "anvil") -> dict[str, Any]:
    status = orjson.loads(orjson.dumps(site_status(engine.site, 0.0)))
    return next(entry for entry in status["printers"] if entry["name"] == printer)


def fed(engine: Engine, *items: Input) -> dict[str, Any]:
    for item in items:
        engine.feed(item)
    return shown(engine)


def well(**reading: Any) -> Engine:
    engine = Engine(site(), 0.0)
    fed(engine, SourceReport("main", 0.5, connected=True), RelayReport("plug", 0.6, reachable=True))
    fed(engine, Reading("anvil", "bed", 1.0, **({"temperature_c": 24.0, "target_c": 0.0} | reading)))
    return engine


def test_heard_and_within_reach_is_protected() -> None:
    printer = shown(well())
    assert (printer["state"], printer["why_not"]) == ("protected", [])
    assert site_status(well().site, 0.0)["state"] == "protected"


def test_at_the_start_it_is_not_protected_and_says_what_is_missing() -> None:
    printer = shown(Engine(site(), 0.0))
    assert printer["state"] == "not protected"
    assert printer["why_not"] == ["no relay that cuts its power has been reached yet: plug", "bed has not been heard yet, for 0 s"]
    assert site_status(Engine(site(), 0.0).site, 0.0)["starting"]


@pytest.mark.parametrize(
    ("item", "why"),
    [
        (RelayReport("plug", 2.0, reachable=False, why="no route"), "no relay that cuts its power can be reached: plug (no route)"),
        (SourceReport("main", 2.0, connected=False), "bed cannot be heard: connection main is down"),
        (SourceReport("anvil/bed", 2.0, connected=False), "bed cannot be heard: connection main is down"),
    ],
    ids=["relay out of reach", "link down", "source down"],
)
def test_what_takes_protection_away(item: Input, why: str) -> None:
    printer = fed(well(), item)
    assert printer["state"] == "not protected"
    assert why in printer["why_not"]


def test_a_reason_is_forgotten_when_the_relay_is_back() -> None:
    engine = well()
    fed(engine, RelayReport("plug", 2.0, reachable=False, why="no route"), RelayReport("plug", 3.0, reachable=True))
    assert site_status(engine.site, 0.0)["relays"][0]["why"] == ""


def test_a_printer_without_a_relay_is_not_protected() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ())), 0.0)
    assert "no relay can cut its power" in fed(engine, Reading("anvil", "bed", 1.0, 24.0))["why_not"]


def test_a_relay_that_only_pretends_protects_nothing_and_hides_no_real_one_that_is_away() -> None:
    pretend = plug("toy", real=False, has_echo=False)
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("toy",)), relays=(pretend,)), 0.0)
    status = fed(engine, RelayReport("toy", 1.0, reachable=True), Reading("anvil", "bed", 1.0, 24.0))
    assert status["why_not"] == ["no relay can cut its power: toy only pretends and cuts nothing"]
    assert status["state"] == "not protected"
    engine = Engine(site(PrinterPlan("anvil", (heater(relays=("toy",)),), ("plug",)), relays=(pretend, plug())), 0.0)
    status = fed(engine, RelayReport("toy", 1.0, reachable=True), Reading("anvil", "bed", 1.0, 24.0))
    assert status["why_not"] == ["no relay that cuts its power has been reached yet: plug"]


def test_what_a_relay_that_only_pretends_says_confirms_nothing() -> None:
    pretend = plug("toy", real=False, has_echo=False)
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("toy",)), relays=(pretend,)), 0.0)
    fed(engine, Reading("anvil", "bed", 1.0, 90.0, 90.0), TripByHand("anvil", 2.0, "Robin", "trying"), RelayReport("toy", 2.0, state="off"))
    printer = fed(engine, Tick(70.0))
    assert printer["latch"]["verdict"] == "not confirmed"


def test_a_heater_that_no_relay_cuts_is_told_even_where_another_is_cut_well() -> None:
    """The contactor feeds the bed only: the hotend is not protected by it."""
    printer = PrinterPlan("anvil", (heater(relays=("plug",)), heater("hotend")), ())
    engine = Engine(site(printer), 0.0)
    status = fed(
        engine, RelayReport("plug", 1.0, reachable=True), Reading("anvil", "bed", 1.0, 24.0), Reading("anvil", "hotend", 1.0, 24.0)
    )
    assert status["why_not"] == ["no relay can cut the power of hotend"]


def test_silence_of_a_hot_printer_is_told_and_that_of_a_cold_one_is_rest() -> None:
    hot = fed(well(temperature_c=60.0, target_c=60.0), Tick(30.0))
    cold = fed(well(), Tick(3000.0))
    assert hot["why_not"] == ["bed is silent for 29 s"]
    assert cold["state"] == "protected"
    assert not cold["heaters"][0]["live"]


def test_a_printer_that_observes_is_not_protected() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",), observe_s=7200.0)), 0.0)
    printer = fed(engine, RelayReport("plug", 0.5, reachable=True), Reading("anvil", "bed", 1.0, 24.0))
    assert printer["state"] == "not protected"
    assert "only observes" in printer["why_not"][0]


def test_tripped_outweighs_all_and_tells_how_far_the_cut_is() -> None:
    engine = well()
    printer = fed(engine, TripByHand("anvil", 2.0, "Robin", "smoke"))
    assert (printer["state"], printer["latch"]["check"], printer["latch"]["verdict"]) == ("tripped", "by hand", "cutting")
    assert site_status(engine.site, 0.0)["state"] == "tripped"
    printer = fed(engine, RelayReport("plug", 2.5, state="off"))
    assert printer["latch"]["verdict"] == "confirmed"
    assert site_status(engine.site, 0.0)["relays"][0]["confirmed"]


def test_a_cut_that_failed_says_why() -> None:
    printer = fed(well(), TripByHand("anvil", 2.0, "Robin", "smoke"), Tick(100.0))
    assert (printer["latch"]["verdict"], printer["latch"]["failure"]) == ("not confirmed", "relay plug did not take the command in 2.0 s")


def test_probation_is_not_protection() -> None:
    printer = fed(
        well(),
        TripByHand("anvil", 2.0, "Robin", "smoke"),
        RelayReport("plug", 2.5, state="off"),
        Tick(100.0),
        Reset("anvil", 101.0, "Robin", "steam", unread=True),
    )
    assert printer["state"] == "not protected"
    assert any("on probation" in why for why in printer["why_not"])


@pytest.mark.parametrize(
    ("reading", "later_s", "idle"),
    [
        ({"temperature_c": 24.0, "target_c": 0.0}, 0.0, True),
        ({"temperature_c": 90.0, "target_c": 0.0}, 0.0, True),
        ({"temperature_c": 24.0, "target_c": 60.0}, 0.0, False),
        ({"temperature_c": 24.0, "target_c": 0.0, "duty": 0.3}, 0.0, False),
        ({"temperature_c": 24.0, "target_c": None}, 0.0, True),
        ({"temperature_c": 60.0, "target_c": None}, 0.0, False),
        ({"temperature_c": 24.0, "target_c": 0.0}, 3000.0, True),
        ({"temperature_c": 90.0, "target_c": 0.0}, 20.0, False),
        ({"temperature_c": None, "target_c": 0.0}, 0.0, False),
    ],
)
def test_idle_is_what_is_known_to_heat_nothing(reading: dict[str, Any], later_s: float, *, idle: bool) -> None:
    printer = fed(well(**reading), Tick(1.0 + later_s))
    assert printer["idle"] is idle


def test_counters_and_ages_are_shown() -> None:
    engine = well()
    bed = fed(engine, Unusable("anvil", "bed", 2.0, "not a number"), Reading("anvil", "bed", 0.5, 99.0), Tick(4.0))["heaters"][0]
    assert (bed["age_s"], bed["readings"], bed["unusable"], bed["ignored"], bed["warming_up"]) == (3.0, 1, 1, 1, True)
    bed = fed(engine, *(Reading("anvil", "bed", 5.0 + at, 114.0) for at in range(5)))["heaters"][0]
    assert not bed["warming_up"]
    assert bed["nearest"] == [0.902, "ceiling"]


def test_a_relay_of_several_printers_names_them_all() -> None:
    relays = {entry["name"]: entry for entry in site_status(Engine(workshop(), 0.0).site, 0.0)["relays"]}
    assert relays["table-plug"]["printers"] == ["anvil", "bramble"]
    assert relays["contactor"]["printers"] == ["anvil"]


def test_a_printer_that_only_a_latch_still_knows_is_not_protected() -> None:
    engine = Engine(site(PrinterPlan("anvil", (), ("plug",)), relays=(plug(),)), 0.0)
    assert "it is no longer in the settings" in shown(engine)["why_not"]


@pytest.mark.parametrize(
    ("fed_by", "words"),
    [
        ("pushed through the front", ["depends on the front process: readings of bed are pushed through it"]),
        ("polled", []),
        ("over MQTT", []),
        ("", []),
    ],
)
def test_where_readings_come_from_is_told_and_what_they_depend_on(fed_by: Any, words: list[str]) -> None:
    bed = heater()
    plan = PrinterPlan("anvil", (replace(bed, source=replace(bed.source, fed=fed_by)),), ("plug",))
    printer = shown(Engine(site(plan), 0.0))
    assert printer["heaters"][0]["fed"] == fed_by
    assert printer["depends_on"] == words


def test_a_further_sensor_is_shown_and_a_silent_one_no_longer_counts() -> None:
    engine = Engine(workshop(), 0.0)
    bed = fed(engine, Reading("anvil", "bed", 1.0, 60.0))["heaters"][0]
    assert bed["sensors"] == [{"name": "glued", "temperature_c": None, "age_s": None, "counts": False}]
    bed = fed(engine, Reading("anvil", "bed", 2.0, 61.5, sensor="glued"))["heaters"][0]
    assert (bed["temperature_c"], bed["sensors"][0]["temperature_c"], bed["sensors"][0]["counts"]) == (60.0, 61.5, True)
    own = [Reading("anvil", "bed", 3.0 + second, 60.0 + second % 3 / 10) for second in range(25)]
    bed = fed(engine, *own)["heaters"][0]
    assert (bed["sensors"][0]["age_s"], bed["sensors"][0]["counts"]) == (25.0, True)
    bed = fed(engine, Reading("anvil", "bed", 28.0, 60.0))["heaters"][0]
    assert (bed["sensors"][0]["temperature_c"], bed["sensors"][0]["counts"]) == (61.5, False)
