"""How late a turn may be before nobody is blamed for what was not heard: never so late that a short grace is over."""

from collections.abc import Iterable

import pytest
from rig import plans

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading
from watchdog.core.outputs import Event, Output
from watchdog.core.plan import PrinterPlan
from watchdog.guard.inbox import Inbox
from watchdog.guard.loop import LONGEST_WAIT_S, SHORTEST_STALL_S, STALL_S, Loop, stall_for


def engine_with(*graces_s: float) -> Engine:
    limits = [{"no_readings": {"grace_s": grace_s, "advise_s": 0.5 * grace_s}} for grace_s in graces_s]
    printers = [PrinterPlan(f"printer-{at}", (plans.heater(interval_s=0.5, limits=own),), ("plug",)) for at, own in enumerate(limits)]
    return Engine(plans.site(*printers), 100.0)


@pytest.mark.parametrize(
    ("graces_s", "stall_s"), [((45.0, 30.0), STALL_S), ((45.0, 3.0), 1.0), ((0.5,), SHORTEST_STALL_S), ((11.0,), STALL_S)]
)
def test_the_shortest_grace_of_all_decides(graces_s: tuple[float, ...], stall_s: float) -> None:
    assert stall_for(engine_with(*graces_s)) == pytest.approx(stall_s)


def test_a_delay_below_it_leaves_the_last_word_of_any_source_younger_than_its_grace() -> None:
    for grace_s in (2.0, 3.0, 5.0, 8.0, 30.0, 120.0):
        longest_interval_s = 0.5 * grace_s  # the settings allow no more
        assert stall_for(engine_with(grace_s)) + LONGEST_WAIT_S + longest_interval_s <= grace_s


@pytest.mark.parametrize("delay_s", [2.0, 3.5, 4.9, 60.0])
def test_row_f42_a_guard_that_was_stopped_cuts_no_healthy_printer_with_a_short_grace(delay_s: float) -> None:
    """Stopped as a whole it hears nothing, and its loop may wake before the thread that reads the socket."""
    engine, inbox = engine_with(3.0), Inbox()
    events: list[str] = []
    at = [100.0]

    class Hands:
        def carry_out(self, outputs: Iterable[Output]) -> None:
            events.extend(output.kind for output in outputs if isinstance(output, Event))

    loop = Loop(engine, inbox, Hands(), lambda _: None, now=lambda: at[0], slept_s=lambda: 0.0, stall_s=stall_for(engine))  # type: ignore[arg-type]  # in place of the real hands

    def hear() -> None:
        inbox.reading(Reading("printer-0", "bed", at[0], temperature_c=60.0, target_c=60.0))
        loop.turn()

    hear()
    at[0] += delay_s
    loop.turn()
    for _ in range(20):
        at[0] += 0.5
        hear()
    assert "trip" not in events
    at[0] += 0.5
    while at[0] < 100.0 + delay_s + 20.0:
        loop.turn()
        at[0] += 0.5
    assert "trip" in events  # real silence is cut as ever
