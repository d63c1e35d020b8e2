"""Random streams of inputs for the workshop of rig.plans: what real sources and relays might send, and what they never would."""

from collections.abc import Callable
from typing import Any, TypeAlias

from hypothesis import strategies as st

from watchdog.core.inputs import Input, Reading, RelayReport, Reset, SourceReport, Suspended, Tick, TripByHand, Unusable

Draw: TypeAlias = Callable[[st.SearchStrategy[Any]], Any]

HEATERS = [("anvil", "bed"), ("anvil", "hotend"), ("bramble", "bed")]
PRINTERS = ["anvil", "bramble"]
RELAYS = ["contactor", "anvil-plug", "table-plug"]
SOURCES = ["main", "anvil/bed", "anvil/hotend", "bramble/bed"]

STEPS = st.sampled_from([0.0, 0.001, 0.5, 1.0, 2.0, 2.0, 2.0, 5.0, 15.0, 45.0, 61.0, 200.0])
TEMPERATURES = st.sampled_from([-273.15, -42.4, -12.0, 21.0, 45.0, 60.0, 62.0, 76.0, 80.0, 119.0, 120.0, 121.0, 150.0, 205.0, 300.0, 938.0])
TARGETS = st.sampled_from([None, None, 0.0, 40.0, 60.0, 205.0])
MAYBE = st.sampled_from([None, True, False])


def sensible(at: float) -> st.SearchStrategy[Input]:
    """One input at `at` of the kind that a workshop sends."""
    heater = st.sampled_from(HEATERS)
    reading = st.builds(
        lambda where, temperature, target, sensor, kept: Reading(
            where[0],
            where[1],
            at,
            temperature,
            target,
            sensor=sensor.strip("?"),
            target_unknown=target is None and sensor == "?",
            retained=kept,
        ),
        heater,
        st.one_of(TEMPERATURES, TEMPERATURES, st.none()),
        TARGETS,
        st.sampled_from(["", "", "", "", "?", "glued"]),
        st.sampled_from([False] * 9 + [True]),
    )
    relay = st.builds(
        lambda name, reachable, sent, state, power, kept: RelayReport(name, at, reachable, sent, 1_000_000, state, power, kept),
        st.sampled_from(RELAYS),
        MAYBE,
        MAYBE,
        st.sampled_from([None, "on", "off", "off"]),
        st.sampled_from([None, 0.4, 300.0]),
        st.sampled_from([False] * 5 + [True]),
    )
    others: list[st.SearchStrategy[Input]] = [
        st.just(Tick(at)),
        st.builds(lambda source, connected, alive: SourceReport(source, at, connected, alive), st.sampled_from(SOURCES), MAYBE, MAYBE),
        st.builds(lambda where: Unusable(where[0], where[1], at, "not a number"), heater),
        st.builds(lambda printer: TripByHand(printer, at, "Robin", "smell"), st.sampled_from(PRINTERS)),
        st.builds(
            lambda printer, unread, vouched: Reset(printer, at, "Robin", "looked at it", unread, vouched),
            st.sampled_from(PRINTERS),
            st.booleans(),
            st.booleans(),
        ),
        st.just(Suspended(at, 60.0)),
    ]
    return st.one_of(reading, reading, reading, reading, relay, relay, *others)


@st.composite
def streams(draw: Draw, longest: int = 60) -> list[Input]:
    """A stream in the order of its times."""
    at, found = 0.0, []
    for step in draw(st.lists(STEPS, min_size=5, max_size=longest)):
        at += step
        found.append(draw(sensible(at)))
    return found


def garbage() -> st.SearchStrategy[Input]:
    """Inputs with any finite numbers, at any times, about anything."""
    number = st.floats(allow_nan=False, allow_infinity=False)
    maybe = st.one_of(st.none(), number)
    moment = st.one_of(
        st.floats(-1e6, 2e4), number.filter(lambda at: not 2e4 < at < 4e7)
    )  # hours, or absurd: days of waiting take long to run
    word = st.one_of(
        st.sampled_from(["", "anvil", "bramble", "bed", "hotend", "glued", "table-plug", "main", "anvil/bed"]), st.text(max_size=5)
    )
    flag = st.booleans()
    state = st.sampled_from([None, "on", "off"])
    return st.one_of(
        st.builds(Reading, word, word, moment, maybe, maybe, maybe, maybe, word, flag, flag),
        st.builds(
            Reading, st.just("anvil"), st.just("bed"), moment, maybe, maybe, maybe, maybe, st.sampled_from(["", "glued"]), flag, flag
        ),
        st.builds(Tick, moment),
        st.builds(Suspended, moment, number),
        st.builds(SourceReport, word, moment, MAYBE, MAYBE, word),
        st.builds(RelayReport, st.sampled_from([*RELAYS, "what"]), moment, MAYBE, MAYBE, st.integers(), state, maybe, flag, word),
        st.builds(TripByHand, word, moment, word, word),
        st.builds(Reset, st.sampled_from([*PRINTERS, "what"]), moment, word, word, flag, flag),
        st.builds(Unusable, word, word, moment, word),
    )
