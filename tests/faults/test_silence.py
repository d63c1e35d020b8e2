"""Too hot, or nothing heard: one guard, several printers, and a broker that is well."""

import random
import signal
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from rig.broker import MosquittoBroker, publisher, say
from rig.figures import figure
from rig.printer import PrinterProcess
from rig.site import TOPIC, SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

EVERY_S = 0.2
ADVISE_S = 2.0
GRACE_S = 3.0
HOT_C = 180.0
COLLECTED_S = 1.0
"""What falls silent together is told in one sentence, so much later."""


def presence(name: str) -> str:
    return f'presence = {{ topic = "{TOPIC}/{name}/here" }}\n'


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, broker: MosquittoBroker) -> Iterator[Workshop]:
    steady: dict[str, Any] = {"interval_s": EVERY_S, "advise_s": ADVISE_S, "grace_s": GRACE_S}
    site = SiteTable(
        printers=(
            simple("anvil", interval_s=EVERY_S, confirm_s=0.0),
            simple("bramble", more=presence("bramble"), **steady),
            simple("cinder", more=presence("cinder"), **steady),
            simple("dahlia", more=presence("dahlia"), **steady),
        )
    )
    with Workshop(tmp_path_factory.mktemp("silence"), site, broker) as shop:
        shop.begin(quiet=("bramble", "cinder"))
        yield shop


def test_a_heater_above_its_ceiling_loses_its_power_each_time(
    shop: Workshop, dice: random.Random, long_count: Callable[[int, int], int]
) -> None:
    """Row F01."""
    printer = shop.printers["anvil"]
    printer.every_s = EVERY_S
    until(lambda: shop.state("anvil") == "protected")
    pause = threading.Event()
    took_s = []
    runs = long_count(20, 200)
    before = len(shop.trips("anvil"))
    for _ in range(runs):
        pause.wait(dice.uniform(0.0, EVERY_S))
        t0 = seconds()
        printer.temperature_c = HOT_C
        took_s.append(shop.off_after_s("anvil-plug", t0))
        shop.clear("anvil")
    figure("F01 hot in the script to power gone", *took_s)
    until(lambda: len(shop.trips("anvil")) == before + runs)
    trips = shop.trips("anvil")[before:]
    assert {(trip.heater, trip.check, trip.kind) for trip in trips} == {("bed", "ceiling", "danger")}
    assert max(took_s) < 2 * EVERY_S + 1.0


def test_a_printer_that_was_killed_and_one_that_froze_are_noticed_at_the_same_time(shop: Workshop) -> None:
    """Rows F02 and F03: nothing waits for a last will, which of a frozen printer comes when all is over."""
    names = ("bramble", "cinder")
    processes = {
        name: PrinterProcess(shop.broker.port, f"{TOPIC}/{name}/bed", every_s=EVERY_S, will=f"{TOPIC}/{name}/here") for name in names
    }
    for process in processes.values():
        shop.callback(process.end)
    until(lambda: shop.state("bramble") == shop.state("cinder") == "protected")
    t0 = {
        "bramble": processes["bramble"].signal(signal.SIGKILL),
        "cinder": processes["cinder"].signal(signal.SIGSTOP),
    }
    off_s = {name: shop.off_after_s(f"{name}-plug", t0[name]) for name in names}
    # a silence that came before, and is told only now, is another one
    stale = shop.event("readings stopped", since=t0["bramble"] + ADVISE_S / 2.0, says="bramble/bed")
    assert stale.at.engine_s - t0["bramble"] == pytest.approx(ADVISE_S + COLLECTED_S, abs=1.0)
    assert shop.loud("nothing fresh of bramble/bed, cinder/bed").level == "warning"
    for name in names:
        assert GRACE_S - 2 * EVERY_S < off_s[name] < GRACE_S + 1.0
        assert [(trip.heater, trip.check, trip.kind) for trip in shop.trips(name)] == [("bed", "no readings", "missing readings")]
        assert shop.state(name) == "tripped"
    assert not shop.events("source lost", since=t0["cinder"]) or all("cinder" not in event.sentence for event in shop.events("source lost"))
    assert abs(off_s["bramble"] - off_s["cinder"]) < 2 * EVERY_S + 0.2
    assert shop.state("dahlia") == "protected"
    figure("F02 printer killed to power gone (grace 3 s)", off_s["bramble"])
    figure("F03 printer frozen to power gone (grace 3 s)", off_s["cinder"])
    figure("F02 printer killed to stale in the record (advise 2 s + 1 s)", stale.at.engine_s - t0["bramble"])


def test_a_last_will_that_the_readings_contradict_trips_nothing(shop: Workshop) -> None:
    """Row F21."""
    t0 = seconds()
    with publisher(shop.broker.port) as hand:
        say(hand, f"{TOPIC}/dahlia/here", "gone")
        shop.event("source contradiction", "dahlia", since=t0)
    assert "its readings go on" in shop.loud("the source dahlia/bed said that it is gone").sentence
    threading.Event().wait(1.0)
    assert shop.state("dahlia") == "protected"
    assert shop.trips("dahlia") == []
