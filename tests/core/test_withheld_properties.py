"""What holds for any stream of inputs in which checks observe and are bypassed."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any, TypeAlias

import orjson
from hypothesis import given
from hypothesis import strategies as st
from rig.plans import workshop
from rig.streams import garbage, streams

from watchdog.checks.registry import CHECKS
from watchdog.core.engine import Engine
from watchdog.core.inputs import Bypass, EndBypass, Input, Suspended, Tick
from watchdog.core.observing import ALWAYS_ARMED
from watchdog.core.outputs import Event, LatchChange, Mark, Output, RelayOrder
from watchdog.core.plan import SitePlan
from watchdog.core.status import site_status

Draw: TypeAlias = Callable[[st.SearchStrategy[Any]], Any]

NAMES = [entry.name for entry in CHECKS]


def observed_workshop() -> SitePlan:
    """Bramble observes for less than two minutes of heating; two checks of anvil's bed for less or more."""
    plan = workshop()
    anvil, bramble = plan.printers
    bed = replace(anvil.heaters[0], observe_s={"no readings": 40.0, "overshoot": 300.0})
    return replace(plan, printers=(replace(anvil, heaters=(bed, *anvil.heaters[1:])), replace(bramble, observe_s=100.0)))


def asked(at: float) -> st.SearchStrategy[Input]:
    """What a person may ask for, allowed or not."""
    printer = st.sampled_from(["anvil", "bramble"])
    seconds = st.sampled_from([0.5, 2.0, 30.0, 61.0, 300.0, 3600.0, 5000.0, 1e9, -1.0])
    begin = st.builds(
        lambda name, check, length, long: Bypass(name, at, check, "Robin", "tuning", length, long),
        printer,
        st.sampled_from(["no readings", "no readings", "overshoot", "overshoot", *NAMES, "nothing"]),
        seconds,
        st.booleans(),
    )
    end = st.builds(lambda name, check: EndBypass(name, at, "Jo", check), printer, st.sampled_from(["", "no readings", "stuck"]))
    return st.one_of(begin, begin, begin, end)


@st.composite
def withheld_streams(draw: Draw) -> list[Input]:
    found: list[Input] = []
    for item in draw(streams()):
        found.append(item)
        if draw(st.integers(0, 3)) == 0:
            found.append(draw(asked(item.at)))
    return found


def begun() -> Engine:
    engine = Engine(observed_workshop(), 0.0)
    engine.start([])
    return engine


def watched(engine: Engine, items: list[Input]) -> list[Output]:
    return [output for item in items for output in engine.feed(item)]


def as_steps(outputs: list[Output]) -> list[str]:
    return [repr(output) for kind in (Mark, RelayOrder, LatchChange, Event) for output in outputs if isinstance(output, kind)]


@given(withheld_streams(), st.data())
def test_fed_whole_or_in_pieces_it_withholds_the_same(items: list[Input], data: st.DataObject) -> None:
    expected = as_steps(watched(begun(), [*items, Tick(items[-1].at + 6000.0)]))
    cut_up: list[Input] = []
    for before, item in pairwise([Tick(0.0), *items, Tick(items[-1].at + 6000.0)]):
        for share in [] if isinstance(item, Suspended) else sorted(data.draw(st.lists(st.floats(0.0, 1.0), max_size=3))):
            cut_up.append(Tick(before.at + share * (item.at - before.at)))  # noqa: PERF401 - one line of two that append
        cut_up.append(item)
    assert as_steps(watched(begun(), cut_up)) == expected


@given(withheld_streams())
def test_ticks_at_its_deadlines_change_nothing(items: list[Input]) -> None:
    expected = as_steps(watched(begun(), items))
    eager, found = begun(), list[Output]()
    for item in items:
        while eager.deadline() < item.at and not isinstance(item, Suspended):
            found += eager.feed(Tick(max(eager.deadline(), eager.now)))
        found += eager.feed(item)
    assert as_steps(found) == expected


@given(withheld_streams(), st.data())
def test_a_snapshot_through_json_goes_on_as_if_nothing_had_happened(items: list[Input], data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(items)))
    engine = begun()
    watched(engine, items[:place])
    restored = Engine(observed_workshop(), 0.0)
    restored.restore(orjson.loads(orjson.dumps(engine.snapshot())))
    assert restored.snapshot() == engine.snapshot()
    for item in [*items[place:], Tick(items[-1].at + 6000.0)]:
        assert restored.feed(item) == engine.feed(item)
    assert restored.snapshot() == engine.snapshot()
    assert site_status(restored.site, 0.0) == site_status(engine.site, 0.0)


@given(withheld_streams())
def test_a_check_either_cuts_or_tells_what_it_would_have_cut_and_the_record_says_which(items: list[Input]) -> None:
    """By the record alone: what began to be bypassed or observed and is not armed again cuts nothing, and everything else cuts."""
    bypassed: set[tuple[str, str]] = set()
    observed = {("anvil", "bed", "no readings"), ("anvil", "bed", "overshoot"), ("bramble", "", "")}
    for event in watched(begun(), [*items, Tick(items[-1].at + 480 * 60.0)]):
        if not isinstance(event, Event):
            continue
        key = (event.printer, event.check)
        withheld = key in bypassed or bool({(event.printer, event.heater, event.check), (event.printer, "", "")} & observed)
        if event.kind in {"trip", "also"}:
            assert not withheld or event.check in {*ALWAYS_ARMED, "by hand", "probation"}, event
        elif event.kind == "would have cut":
            assert withheld, event
            assert event.check not in ALWAYS_ARMED
        elif event.kind == "bypass":
            bypassed.add(key)
        elif event.kind == "bypass over":
            bypassed.remove(key)
        elif event.kind == "armed":
            observed.remove((event.printer, event.heater, event.check))
    assert bypassed == set()


@given(withheld_streams())
def test_no_bypass_lasts_longer_than_it_was_asked_for(items: list[Input]) -> None:
    """Over a sleep it ends when the computer wakes: nothing was judged meanwhile. So without sleep here."""
    awake = [item for item in items if not isinstance(item, Suspended)]
    ends: dict[tuple[str, str], float] = {}
    for event in watched(begun(), [*awake, Tick(items[-1].at + 480 * 60.0)]):
        if isinstance(event, Event) and event.kind == "bypass":
            ends[event.printer, event.check] = event.at + event.numbers["seconds"]
        elif isinstance(event, Event) and event.kind == "bypass over":
            assert event.at <= ends.pop((event.printer, event.check))
    assert ends == {}


@given(st.lists(st.one_of(garbage(), garbage(), st.floats(-1e3, 2e4).flatmap(asked)), max_size=40))
def test_no_garbage_ever_raises(items: list[Input]) -> None:
    engine = begun()
    for item in items:
        engine.feed(item)
        orjson.dumps(site_status(engine.site, 0.0))
    restored = Engine(observed_workshop(), 0.0)
    restored.restore(orjson.loads(orjson.dumps(engine.snapshot())))
