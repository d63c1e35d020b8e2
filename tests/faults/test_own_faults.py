"""Faults of the guard's own: a handler that raises, a loop that is held up."""

import contextlib
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig import faulty_guard
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.guard import Guard
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

from watchdog.cli.client import NoGuardError
from watchdog.wire.control import Request

pytestmark = pytest.mark.rig


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    folder = tmp_path_factory.mktemp("faulty")
    site = SiteTable(printers=(simple("anvil", interval_s=0.1), simple("bramble")), broker="keepalive_s = 5\n")
    with Workshop(folder, site, broker) as shop:
        script = Path(faulty_guard.__file__)
        shop.guard = Guard(folder / "config", folder / "state", command=(sys.executable, str(script)))
        yield shop.begin()


def test_a_handler_that_raises_costs_one_message(shop: Workshop) -> None:
    """Row F19: it is counted and told, the next message is heard, nothing trips."""
    printer = shop.printers["bramble"]
    until(lambda: shop.state("bramble") == "protected")
    t0 = seconds()
    for number in range(10):
        printer.say(faulty_guard.ERROR_C if number % 2 else 60.0)
    shop.loud("error in a reading: RuntimeError: a fault of the program")
    threading.Event().wait(0.6)
    assert shop.heater("bramble")["age_s"] < 0.5
    assert shop.state("bramble") == "protected"
    assert not shop.events("source lost", since=t0)


def test_a_loop_that_is_held_up_blames_no_source_and_goes_on(shop: Workshop) -> None:
    """Row F20: the network thread hears on, the queue of each heater stays bounded, the oldest are dropped and counted."""
    printer = shop.printers["anvil"]
    printer.every_s = 0.1
    until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
    before = shop.guard.status()["guard"]["dropped_readings"]
    t0 = seconds()
    with contextlib.suppress(NoGuardError):  # it answers too late
        shop.guard.ask(Request("headroom"))
    event = shop.event("suspended", since=t0, within_s=10.0)
    assert event.at.engine_s - t0 == pytest.approx(faulty_guard.ANSWERING_S, abs=1.0)
    status = shop.guard.status()["guard"]
    assert 10 <= status["dropped_readings"] - before <= 60
    assert status["worst_lag_s"] > 5.0
    assert not shop.events("source lost", since=t0), "the keepalive of 5 s was answered all the while"
    goes_on(shop)


def test_a_judgement_that_is_held_up_trips_nothing_and_goes_on(shop: Workshop) -> None:
    """Row F20, in the thread that brought the reading: nothing is lost that was not heard, and silence is blamed on nobody."""
    until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
    t0 = seconds()
    shop.printers["anvil"].say(faulty_guard.SLOW_C)
    event = shop.event("suspended", since=t0, within_s=faulty_guard.JUDGING_S + 4.0)
    assert event.at.engine_s - t0 == pytest.approx(faulty_guard.JUDGING_S, abs=1.0)
    goes_on(shop)


def goes_on(shop: Workshop) -> None:
    """Nothing tripped, and what is dangerous still does."""
    until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
    assert {trip.check for trip in shop.trips("")} <= {"ceiling"}
    t0 = seconds()
    shop.printers["anvil"].temperature_c = 180.0
    off_s = shop.off_after_s("anvil-plug", t0)
    figure("F20 after a stall: hot to power gone (ceiling confirms in 0.25 s)", off_s)
    assert off_s < 2 * 0.1 + 0.25 + 1.0
    assert shop.trips("bramble") == []
    shop.clear("anvil")
