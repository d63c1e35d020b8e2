"""The parts of the demo: its printers under the real engine, its plug, its clock, and what counts as a good ending."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console
from rig.broker import MosquittoBroker, overhear, publisher, say, wait_for

from watchdog.cli.show.ending import Fate, as_expected, fate
from watchdog.cli.show.pace import FAST, TIMES_FASTER, FastInbox, minutes
from watchdog.cli.show.printers import SWITCH_FAILS_S, Part, cast
from watchdog.cli.show.props import Bench, Reached
from watchdog.cli.show.settings import write_settings
from watchdog.cli.show.telling import Line, in_order, told
from watchdog.cli.show.view import LONGEST_TEXT, view_on
from watchdog.core.engine import Engine
from watchdog.core.outputs import Event
from watchdog.guard import clock
from watchdog.recorder.rows import EventRow, Moment, TripRow
from watchdog.settings.assemble import site_plan
from watchdog.settings.load import load
from watchdog.settings.model import Settings
from watchdog.simulation.simulation import STEP_S, Simulation

SHOW_S = 420.0
NEVER_S = float("inf")


def _settings(folder: Path, parts: tuple[Part, ...]) -> Settings:
    write_settings(folder, folder / "state", 1883, parts)
    loaded = load(folder)
    assert loaded.settings is not None, loaded.problems
    return loaded.settings


def _cuts(engine: Engine, part: Part, seed: int) -> list[tuple[str, str]]:
    """What the engine cuts while one printer plays its part; its plug opens at the first cut."""
    simulation = Simulation(part.scenario, seed)
    cuts: list[tuple[str, str]] = []
    while simulation.now_s < SHOW_S:
        for message in simulation.step(STEP_S, powered=not cuts):
            cuts += [(out.printer, out.heater) for out in engine.feed(message) if isinstance(out, Event) and out.kind == "trip"]
        for name, facts in part.heaters.items():
            assert simulation.hottest_c()[name] < facts.harm_c
    return cuts


def test_whatever_the_seed_each_in_danger_is_cut_once_before_harm(tmp_path: Path, long_count: Callable[[int, int], int]) -> None:
    for seed in range(1, 1 + long_count(3, 60)):
        parts = cast(seed)
        plan = site_plan(_settings(tmp_path / str(seed), parts))
        for part in parts:
            expected = [(part.name, part.danger)] if part.danger else []
            assert _cuts(Engine(plan, 0.0), part, seed) == expected, (seed, part.name)


def test_the_same_seed_draws_the_same_workshop_and_another_one_another() -> None:
    assert cast(7) == cast(7)
    assert cast(7) != cast(8)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[tuple[Bench, MosquittoBroker]]:
    """The printer whose bed gets full power, with time that flies."""
    with MosquittoBroker(tmp_path) as broker, ExitStack() as stack:
        bench = Bench(cast(1)[0], 1, broker.port, lambda: 200.0 * clock.now())
        stack.callback(bench.end)
        yield bench, broker


@pytest.mark.rig
def test_a_plug_that_opens_stops_the_heat(bench: tuple[Bench, MosquittoBroker]) -> None:
    printer, broker = bench
    with publisher(broker.port) as client, publisher(broker.port) as meter:
        says = overhear(client, "workshop/anvil/plug/says")
        watts = overhear(meter, "workshop/anvil/plug/watts")
        printer.begin(200.0 * clock.now())
        assert wait_for(lambda: printer.at_s > SWITCH_FAILS_S + 30.0 and float(watts[-1].payload) > 500.0)
        assert {word.payload for word in says} == {b"closed"}
        say(client, "workshop/anvil/plug/order", "open")
        assert wait_for(lambda: not printer.powered and says[-1].payload == b"open")
        assert wait_for(lambda: float(watts[-1].payload) < 2.0)
        peak_c, cut_s = printer.hottest_c["bed"], printer.at_s
        assert wait_for(lambda: printer.at_s > cut_s + 120.0)
        assert printer.hottest_c["bed"] == peak_c
        assert printer.now_c["bed"] < peak_c - 5.0
    printer.end()
    without = printer.without_the_cut(3600.0)["bed"]
    assert without.hottest_c > printer.part.heaters["bed"].harm_c > peak_c
    assert without.harm_after_s < 3600.0
    assert fate(printer).as_expected


@pytest.mark.rig
def test_a_plug_obeys_nothing_but_open(bench: tuple[Bench, MosquittoBroker]) -> None:
    printer, broker = bench
    printer.begin(200.0 * clock.now())
    with publisher(broker.port) as client:
        say(client, "workshop/anvil/plug/order", "close")
        say(client, "workshop/anvil/plug/order", "")
        assert wait_for(lambda: printer.at_s > 60.0)
        assert printer.powered


def test_the_clock_of_the_workshop_runs_faster_and_so_do_its_waits() -> None:
    fast, real = FAST.now(), clock.now()
    assert fast == pytest.approx(TIMES_FASTER * real, abs=TIMES_FASTER)
    assert FAST.wall_us is clock.wall_us
    began = clock.now()
    FastInbox().wait(1.0)
    assert 0.9 / TIMES_FASTER <= clock.now() - began < 0.9


def _trip(printer: str, heater: str, **other: Any) -> TripRow:
    at = Moment(0, 100.0)
    values: dict[str, Any] = dict.fromkeys(TripRow._fields, "") | {"id": 1, "seq": 1, "at": at, "numbers": {}, "confirmed": at}
    values |= {"proven": None, "unconfirmed": None, "reset": None, "printer": printer, "heater": heater}
    return TripRow(**(values | other))


def _fate(part: Part, **other: Any) -> Fate:
    danger = bool(part.danger)
    good = Fate(part.name, part.danger or "bed", danger, danger, 130.0, 90.0, Reached(300.0, 60.0))
    return good._replace(**other)


GOOD = {"anvil": "tripped", "bramble": "tripped", "cinder": "protected"}
PARTS = cast(1)
TRIPS = [_trip("anvil", "bed"), _trip("bramble", "hotend")]


@pytest.mark.parametrize(
    ("fates", "trips", "states", "good"),
    [
        ({}, TRIPS, GOOD, True),
        ({}, TRIPS[:1], GOOD, False),
        ({}, [*TRIPS, _trip("cinder", "bed")], GOOD, False),
        ({}, [TRIPS[0], _trip("bramble", "bed")], GOOD, False),
        ({}, [TRIPS[0], _trip("bramble", "hotend", confirmed=None)], GOOD, False),
        ({}, TRIPS, GOOD | {"cinder": "not protected"}, False),
        ({}, TRIPS, {}, False),
        ({"anvil": {"with_c": 130.0}}, TRIPS, GOOD, False),
        ({"anvil": {"cut": False}}, TRIPS, GOOD, False),
        ({"cinder": {"cut": True}}, TRIPS, GOOD, False),
        ({"cinder": {"with_c": 131.0}}, TRIPS, GOOD, False),
    ],
    ids=[
        "all as it should be", "one was not cut", "a third was cut", "cut for another heater", "power not shown to be off",
        "the third is not protected", "no word of the guard", "cut too late", "the plug stayed closed", "the third plug opened",
        "harm without a fault",
    ],
)  # fmt: skip
def test_only_the_two_in_danger_cut_in_time_is_a_good_ending(
    fates: dict[str, dict[str, Any]], trips: list[TripRow], states: dict[str, str], *, good: bool
) -> None:
    benches: Any = [SimpleNamespace(part=part) for part in PARTS]
    assert as_expected(benches, [_fate(part, **fates.get(part.name, {})) for part in PARTS], trips, states) is good


def _event(kind: str, at: float, level: str = "info") -> EventRow:
    values: dict[str, Any] = dict.fromkeys(EventRow._fields, "") | {"id": 1, "seq": 1, "at": Moment(0, at), "numbers": {}, "trip_id": 1}
    return EventRow(**(values | {"kind": kind, "level": level, "printer": "anvil", "sentence": kind}))


def test_the_reason_is_told_before_the_order_and_what_is_usual_is_not_told() -> None:
    events = [_event("relay ordered", 160.0), _event("trip", 160.0), _event("relay sent", 160.0), _event("cut proven", 160.9)]
    lines = in_order(told([*events, _event("sign of life", 170.0, "alarm")], began=100.0))
    assert [(line.word, line.at_s) for line in lines] == [
        ("seen", 60.0),
        ("cut", 60.0),
        ("confirmed", pytest.approx(60.9)),
        ("alarm", 70.0),
    ]


@pytest.mark.parametrize(("at_s", "text"), [(0.0, "0:00"), (59.6, "1:00"), (125.0, "2:05"), (-1.0, "0:00")])
def test_times_are_told_in_minutes(at_s: float, text: str) -> None:
    assert minutes(at_s) == text


@pytest.mark.parametrize("terminal", [True, False])
def test_no_view_lets_a_line_speak_to_the_terminal_or_grow_without_end(*, terminal: bool) -> None:
    output = StringIO()
    console = Console(file=output, force_terminal=terminal, force_interactive=terminal, color_system=None, width=2000)
    with view_on(console) as view:
        view.line(Line(61.0, "anvil", "seen", "\x1b]0;x\x07" + "a" * 900))
    assert "\x1b]0;x" not in output.getvalue()
    assert output.getvalue().count("a") < LONGEST_TEXT + len("anvil") + 1
    assert "1:01" in output.getvalue()
