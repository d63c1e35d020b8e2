"""Scenarios run as a whole: moments for tests and reports, stamped rows for exported logs."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple, TypeAlias

from watchdog.core.inputs import Reading
from watchdog.simulation.channel import Message
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.simulation import ROUNDING_S, STEP_S, Simulation

Relay: TypeAlias = Callable[[float], bool] | Sequence[tuple[float, bool]]
"""Whether the relay upstream conducts: asked with the time in seconds, or (seconds, conducts) in time order, on before the first."""


class Moment(NamedTuple):
    """What arrived since the last moment, and the truth at this one: `hottest_c` by heater, in degrees Celsius."""

    at_s: float
    messages: list[Message]
    hottest_c: dict[str, float]


def run(scenario: Scenario, seed: int, until_s: float, relay: Relay | None = None, every_s: float = 1.0) -> Iterator[Moment]:
    """One moment every `every_s` seconds until `until_s`. A relay that is asked may look at what was yielded before.

    Raises ValueError when `every_s` is not above 0.
    """
    if not every_s > 0.0:
        raise ValueError(f"a moment every {every_s} s, allowed is above 0")
    simulation = Simulation(scenario, seed)
    conducts = _conducts(relay)
    count = 0
    while simulation.now_s + STEP_S <= until_s + ROUNDING_S:
        count += 1
        end_s = min(count * every_s, until_s) + ROUNDING_S
        messages: list[Message] = []
        began = simulation.steps
        while simulation.now_s + STEP_S <= end_s:
            messages += simulation.step(STEP_S, powered=conducts(simulation.now_s))
        if simulation.steps > began:
            yield Moment(simulation.now_s, messages, simulation.hottest_c())


def readings(scenario: Scenario, seed: int, until_s: float, relay: Relay | None = None) -> Iterator[Reading]:
    """Only the readings, in time order: what a log can hold."""
    for moment in run(scenario, seed, until_s, relay):
        for message in moment.messages:
            if isinstance(message, Reading):
                yield message


def stamped(scenario: Scenario, told: Iterable[Reading], epoch_s: float = 0.0) -> Iterator[tuple[str, Reading]]:
    """Readings with the stamps of an exported log, in seconds since `epoch_s`: here a clock that was set back shows."""
    back = scenario.clock_back
    for reading in told:
        stamp_s = epoch_s + reading.at
        if back is not None and reading.at >= back[0]:
            stamp_s -= back[1]
        yield f"{stamp_s:.3f}", reading


def _conducts(relay: Relay | None) -> Callable[[float], bool]:
    if relay is None:
        return lambda _at_s: True
    if callable(relay):
        return relay
    changes = tuple(relay)

    def conducts(at_s: float) -> bool:
        state = True
        for change_s, on in changes:
            if change_s <= at_s:
                state = on
        return state

    return conducts
