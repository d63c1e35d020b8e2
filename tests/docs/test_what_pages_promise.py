"""What the how-to pages say will happen, with the settings that stand there, in the real engine."""

from collections.abc import Callable
from pathlib import Path

import pytest
from rig.feeding import events, feed, orders
from rig.how_to import Bench, page

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, Reset, SourceReport, Tick, TripByHand
from watchdog.core.status import site_status
from watchdog.settings.assemble import site_plan
from watchdog.settings.load import load

Begin = Callable[[str], Engine]


@pytest.fixture
def begin(tmp_path: Path) -> Begin:
    """An engine under the settings of a page, at time 0."""

    def start(name: str) -> Engine:
        settings = load(Bench(page(name), tmp_path).config).settings
        assert settings is not None
        return Engine(site_plan(settings), 0.0)

    return start


def state(engine: Engine, printer: str) -> str:
    found = next(entry for entry in site_status(engine.site, 0.0)["printers"] if entry["name"] == printer)
    return str(found["state"])


def trips(engine: Engine) -> dict[str, str]:
    """Latched printers, and by which check."""
    return {name: printer.latch.check for name, printer in engine.site.printers.items() if printer.latch is not None}


def all_warm(*printers: str) -> list[Input]:
    """Heated and steady, and heard."""
    return [Reading(name, "bed", 1.0 + second, 60.0 + second % 2 / 10, 60.0) for second in range(8) for name in printers]


TABLE = ("anvil", "bramble", "cinder")


def table(begin: Begin) -> Engine:
    engine = begin("shared-plug.md")
    feed(engine, *(RelayReport(name, 0.5, reachable=True, state="on") for name in ("anvil-plug", "table-plug")), *all_warm(*TABLE))
    return engine


def open_at(at: float) -> RelayReport:
    return RelayReport("table-plug", at, state="off", power_w=0.0)


def test_a_neighbour_in_the_dark_is_not_latched_however_long_it_lasts(begin: Begin) -> None:
    engine = table(begin)
    assert orders(feed(engine, TripByHand("bramble", 10.0, "Ada", "smoke"))) == ["table-plug"]
    said = feed(engine, open_at(11.0), Tick(900.0))
    assert trips(engine) == {"bramble": "by hand"}
    assert "anvil-plug" not in orders(said)


def test_the_plug_stays_open_while_any_latch_wants_it_open(begin: Begin) -> None:
    engine = table(begin)
    feed(engine, TripByHand("bramble", 10.0, "Ada", "smoke"), TripByHand("cinder", 11.0, "Ada", "smoke"), open_at(12.0))
    feed(engine, Reset("bramble", 20.0, "Ada", "was steam", unread=True))
    assert trips(engine) == {"cinder": "by hand"}
    again = feed(engine, RelayReport("table-plug", 30.0, state="on"))
    assert orders(again) == ["table-plug"]
    assert [event.level for event in events(again, "sign of life")] == ["alarm"]
    feed(engine, open_at(31.0), Reset("cinder", 40.0, "Ada", "steam too", unread=True))
    assert orders(feed(engine, RelayReport("table-plug", 41.0, state="on"))) == []


def test_all_come_back_to_protected_after_the_reset(begin: Begin) -> None:
    engine = table(begin)
    feed(engine, TripByHand("bramble", 10.0, "Ada", "smoke"), open_at(11.0), Reset("bramble", 20.0, "Ada", "steam", unread=True))
    feed(engine, RelayReport("table-plug", 30.0, state="on", power_w=90.0))
    feed(engine, *(Reading(name, "bed", 40.0 + second, 30.0, 0.0) for second in range(4) for name in TABLE))
    assert {name: state(engine, name) for name in TABLE} == dict.fromkeys(TABLE, "protected")


@pytest.mark.parametrize("back_at", [25.0, 200.0], ids=["soon", "after the grace"])
def test_once_the_power_is_back_a_neighbour_has_two_minutes_to_be_heard(begin: Begin, back_at: float) -> None:
    engine = table(begin)
    feed(engine, TripByHand("bramble", 10.0, "Ada", "smoke"), open_at(11.0), Reset("bramble", 20.0, "Ada", "steam", unread=True))
    feed(engine, RelayReport("table-plug", back_at, state="on", power_w=90.0))
    feed(engine, *(Reading("bramble", "bed", back_at + 60.0 + second, 40.0, 0.0) for second in range(4)), Tick(back_at + 119.9))
    assert trips(engine) == {}
    feed(engine, Reading("cinder", "bed", back_at + 119.9, 40.0, 0.0), Tick(back_at + 120.1))
    assert trips(engine) == {"anvil": "no readings"}


def test_a_tripped_printer_that_talks_on_in_the_dark_is_fed_another_way(begin: Begin) -> None:
    engine = table(begin)
    feed(engine, TripByHand("anvil", 10.0, "Ada", "smoke"), RelayReport("anvil-plug", 11.0, state="off", power_w=0.0))
    said = feed(engine, *(Reading("anvil", "bed", 20.0 + second, 50.0) for second in range(6)))
    assert [event.level for event in events(said, "fed another way")] == ["alarm"]
    assert "table-plug" in orders(said)


@pytest.mark.parametrize(
    ("trouble", "takes_the_table"),
    [
        (RelayReport("anvil-plug", 11.0, state="off", power_w=0.0), False),
        (RelayReport("anvil-plug", 11.0, state="off", power_w=300.0), True),
        (RelayReport("anvil-plug", 11.0, sent=True, order=1), True),
        (RelayReport("anvil-plug", 9.0, reachable=False, why="gone"), True),
    ],
    ids=["it works", "the meter sees power", "it does not confirm", "it cannot be reached"],
)
def test_a_printer_with_a_plug_of_its_own_takes_the_table_only_when_that_fails(
    begin: Begin, trouble: RelayReport, *, takes_the_table: bool
) -> None:
    engine = table(begin)
    items: list[Input] = [TripByHand("anvil", 10.0, "Ada", "smoke"), trouble]
    said = feed(engine, *sorted(items, key=lambda item: item.at))
    for second in range(120):
        if "table-plug" not in orders(said):
            said += feed(engine, *(Reading(name, "bed", 12.0 + second, 60.0 + second % 3 / 10, 60.0) for name in ("bramble", "cinder")))
    assert ("table-plug" in orders(said)) is takes_the_table
    assert trips(engine) == {"anvil": "by hand"}


def sensors(engine: Engine, own_c: float, glued_c: float | None, *, start: float = 1.0, seconds: int = 60) -> None:
    """Both sensors of the bed of anvil for a while; nothing is asked of the bed. They move a little, as sensors do."""
    for second in range(seconds):
        noise_k = second % 3 / 10
        feed(engine, Reading("anvil", "bed", start + second, own_c + noise_k, 60.0))
        if glued_c is not None:
            feed(engine, Reading("anvil", "bed", start + second + 0.5, glued_c + noise_k, sensor="glued"))


@pytest.mark.parametrize(("own_c", "glued_c"), [(62.0, 125.0), (125.0, 62.0)])
def test_either_sensor_above_the_ceiling_cuts(begin: Begin, own_c: float, glued_c: float) -> None:
    engine = begin("independent-sensor.md")
    sensors(engine, own_c, glued_c)
    assert trips(engine) == {"anvil": "ceiling"}


def test_a_second_sensor_that_is_hotter_than_its_place_explains_cuts(begin: Begin) -> None:
    engine = begin("independent-sensor.md")
    sensors(engine, 60.0, 60.0, seconds=30)
    sensors(engine, 60.0, 80.0, start=31.0, seconds=300)
    assert trips(engine) == {"anvil": "disagreement"}


@pytest.mark.parametrize("glued_c", [40.0, 70.0, None], ids=["20 K below", "10 K above", "silent"])
def test_a_second_sensor_that_is_colder_or_a_little_hotter_or_silent_cuts_nothing(begin: Begin, glued_c: float | None) -> None:
    engine = begin("independent-sensor.md")
    feed(engine, RelayReport("anvil-plug", 0.5, reachable=True))
    sensors(engine, 60.0, 60.0, seconds=30)
    sensors(engine, 60.0, glued_c, start=31.0, seconds=300)
    assert trips(engine) == {}
    assert state(engine, "anvil") == "protected"


def test_a_silent_second_sensor_stops_to_count_after_five_intervals_and_its_last_word_until_then(begin: Begin) -> None:
    engine = begin("independent-sensor.md")
    sensors(engine, 60.0, 80.0, seconds=10)
    bed = engine.site.heaters["anvil", "bed"]
    sensors(engine, 60.0, None, start=12.0, seconds=20)
    assert bed.hottest_c is not None
    assert bed.hottest_c > 79.0
    sensors(engine, 60.0, None, start=36.0, seconds=3)
    assert bed.hottest_c is not None
    assert bed.hottest_c < 61.0


def test_the_printers_own_silence_is_judged_although_the_second_sensor_goes_on(begin: Begin) -> None:
    engine = begin("independent-sensor.md")
    sensors(engine, 60.0, 60.0, seconds=10)
    for second in range(180):
        feed(engine, Reading("anvil", "bed", 12.0 + second, 60.0 + second % 3 / 10, sensor="glued"))
    assert trips(engine) == {"anvil": "no readings"}


def cinder(begin: Begin) -> Engine:
    engine = begin("on-change.md")
    feed(
        engine,
        RelayReport("cinder-plug", 0.5, reachable=True, state="on"),
        *(Reading("cinder", "bed", at, 49.9 + at / 50, 50.0) for at in (1.0, 5.0)),
    )
    return engine


def beats(start: float, end: float) -> list[Input]:
    return [SourceReport("cinder/bed", start + 5.0 * number, alive=True) for number in range(int((end - start) / 5.0))]


def test_a_steady_bed_may_be_silent_for_an_hour_while_its_source_beats(begin: Begin) -> None:
    engine = cinder(begin)
    feed(engine, *beats(6.0, 3600.0))
    assert trips(engine) == {}
    assert state(engine, "cinder") == "protected"


def test_without_beats_its_silence_is_told_and_then_cut(begin: Begin) -> None:
    engine = cinder(begin)
    feed(engine, *beats(6.0, 600.0))
    limits = engine.site.heaters["cinder", "bed"]
    told = feed(engine, Tick(600.0 + 30.0))
    assert events(told, "readings stopped")
    feed(engine, Tick(600.0 + 120.0))
    assert trips(engine) == {"cinder": "no readings"}
    assert limits.latched


def test_a_last_will_alone_cuts_nothing(begin: Begin) -> None:
    engine = cinder(begin)
    said = feed(engine, SourceReport("cinder/bed", 6.0, alive=False, why="its last will"), *beats(8.0, 300.0))
    assert events(said, "source lost")
    assert trips(engine) == {}


def test_beats_alone_do_not_make_it_protected_before_the_bed_was_heard(begin: Begin) -> None:
    engine = begin("on-change.md")
    feed(engine, RelayReport("cinder-plug", 0.5, reachable=True), *beats(1.0, 300.0))
    assert state(engine, "cinder") == "not protected"
    feed(engine, Reading("cinder", "bed", 301.0, 24.0, 0.0))
    assert state(engine, "cinder") == "protected"
