"""What holds for any stream of inputs."""

from collections.abc import Callable
from itertools import pairwise

import orjson
from hypothesis import given
from hypothesis import strategies as st
from rig.plans import workshop
from rig.streams import garbage, streams

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Suspended, Tick
from watchdog.core.outputs import Event, LatchChange, Mark, Output, RelayOrder
from watchdog.core.status import site_status


def watched(engine: Engine, items: list[Input]) -> list[Output]:
    return [output for item in items for output in engine.feed(item)]


def as_steps(outputs: list[Output]) -> list[str]:
    """Outputs of one kind in their order; a feed of many things sorts by kind, so that only this order is the same in pieces."""
    return [repr(output) for kind in (Mark, RelayOrder, LatchChange, Event) for output in outputs if isinstance(output, kind)]


@given(streams(), st.data())
def test_fed_whole_or_in_pieces_it_decides_the_same(items: list[Input], data: st.DataObject) -> None:
    whole, pieces = Engine(workshop(), 0.0), Engine(workshop(), 0.0)
    expected = as_steps(watched(whole, [*items, Tick(items[-1].at + 300.0)]))
    cut_up: list[Input] = []
    for before, item in pairwise([Tick(0.0), *items, Tick(items[-1].at + 300.0)]):
        asleep = isinstance(item, Suspended)  # the engine is not fed while its computer sleeps
        for share in [] if asleep else sorted(data.draw(st.lists(st.floats(0.0, 1.0), max_size=3))):
            cut_up.append(Tick(before.at + share * (item.at - before.at)))  # noqa: PERF401 - one line of two that append
        cut_up.append(item)
    assert as_steps(watched(pieces, cut_up)) == expected


@given(streams())
def test_a_guard_that_feeds_ticks_at_its_deadlines_decides_the_same(items: list[Input]) -> None:
    lazy, eager = Engine(workshop(), 0.0), Engine(workshop(), 0.0)
    expected = as_steps(watched(lazy, items))
    found: list[Output] = []
    for item in items:
        while eager.deadline() < item.at and not isinstance(item, Suspended):
            found += eager.feed(Tick(max(eager.deadline(), eager.now)))
        found += eager.feed(item)
    assert as_steps(found) == expected


@given(streams(), st.data())
def test_a_snapshot_through_json_goes_on_as_if_nothing_had_happened(items: list[Input], data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(items)))
    engine = Engine(workshop(), 0.0)
    watched(engine, items[:place])
    saved = orjson.loads(orjson.dumps(engine.snapshot()))
    restored = Engine(workshop(), 0.0)
    restored.restore(saved)
    assert restored.snapshot() == engine.snapshot()
    rest = [*items[place:], Tick(items[-1].at + 300.0)]
    for item in rest:
        assert restored.feed(item) == engine.feed(item)
    assert restored.snapshot() == engine.snapshot()
    assert restored.take_headroom() == engine.take_headroom()


@given(st.lists(garbage(), max_size=40))
def test_no_garbage_ever_raises(items: list[Input]) -> None:
    engine = Engine(workshop(), 0.0)
    for item in items:
        engine.feed(item)
        orjson.dumps(site_status(engine.site, 0.0))
    restored = Engine(workshop(), 0.0)
    restored.restore(orjson.loads(orjson.dumps(engine.snapshot())))


@given(st.lists(garbage(), max_size=40))
def test_time_never_goes_back(items: list[Input]) -> None:
    engine, last = Engine(workshop(), 0.0), 0.0
    for item in items:
        outputs = engine.feed(item)
        assert engine.now >= last
        assert all(output.at >= last for output in outputs if isinstance(output, Event))
        last = engine.now


@given(streams())
def test_what_must_be_done_first_comes_first(items: list[Input]) -> None:
    engine = Engine(workshop(), 0.0)
    ranks: dict[type[Output], int] = {Mark: 0, RelayOrder: 1, LatchChange: 2, Event: 3}
    for item in items:
        outputs = engine.feed(item)
        assert [ranks[type(output)] for output in outputs] == sorted(ranks[type(output)] for output in outputs)


def test_the_order_of_logs_of_different_heaters_does_not_matter_to_their_trips(long_count: Callable[[int, int], int]) -> None:
    """Two heaters of two printers, fed one after the other at each moment in either order, trip at the same times."""
    from rig.plans import heater, site  # noqa: PLC0415 - only here

    from watchdog.core.inputs import Reading  # noqa: PLC0415
    from watchdog.core.plan import PrinterPlan  # noqa: PLC0415

    plan = site(*(PrinterPlan(name, (heater(printer=name),), ("plug",)) for name in ("anvil", "bramble")))
    for offset in range(long_count(3, 30)):
        readings = [
            [Reading(name, "bed", float(at), 60.0 + at * (1 + place) + offset) for place, name in enumerate(("anvil", "bramble"))]
            for at in range(80)
        ]
        trips = []
        for step in (1, -1):
            engine = Engine(plan, 0.0)
            outputs = watched(engine, [reading for moment in readings for reading in moment[::step]])
            trips.append(sorted((output.printer, output.at) for output in outputs if isinstance(output, Event) and output.kind == "trip"))
        assert trips[0] == trips[1]
        assert len(trips[0]) == 2
