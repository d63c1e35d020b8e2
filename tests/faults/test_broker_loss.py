"""The broker dies, freezes, comes back: readings and plugs are gone together, and a relay that needs no broker is left."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.printer import Printer
from rig.program import Board
from rig.site import TOPIC, HeaterTable, PlugTable, PrinterTable, ProgramTable, SiteTable
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

GRACE_S = 3.0
SENT_WITHIN_S = 1.0


class Loss:
    """A guard between two brokers. anvil and bramble hang on the first one, cinder and dahlia on the second."""

    def __init__(self, folder: Path, first: MosquittoBroker, second: MosquittoBroker) -> None:
        self.brokers = {"shed": first, "barn": second}
        self.boards = {name: Board(folder / f"{name}-board") for name in ("anvil", "cinder")}
        printers = tuple(self._printer(name, where) for name, where in (("anvil", "shed"), ("cinder", "barn"))) + tuple(
            self._patient(name, where) for name, where in (("bramble", "shed"), ("dahlia", "barn"))
        )
        more = f'\n[brokers.barn]\nhost = "127.0.0.1"\nport = {second.port}\n'
        self.shop = Workshop(folder, SiteTable(printers=printers, more=more), first)
        for name, where in (("anvil", "shed"), ("bramble", "shed"), ("cinder", "barn"), ("dahlia", "barn")):
            port = self.brokers[where].port
            self.shop.printers[name] = Printer(port, f"{TOPIC}/{name}/bed").start()
            self.shop.callback(self.shop.printers[name].stop)
            self.shop.plug(self.shop.site.plugs[f"{name}-plug"], port=port)
        self.shop.begin_guard()

    def _printer(self, name: str, where: str) -> PrinterTable:
        """Its plug first, then a program that needs no broker."""
        relays = (
            PlugTable(name=f"{name}-plug", broker=where, sent_within_s=SENT_WITHIN_S),
            ProgramTable(name=f"{name}-board", program=self.boards[name].program),
        )
        return PrinterTable(name=name, relays=relays, heaters=(HeaterTable(broker=where, grace_s=GRACE_S),))

    def _patient(self, name: str, where: str) -> PrinterTable:
        """One that outlasts the whole row."""
        heaters = (HeaterTable(broker=where, grace_s=60.0),)
        return PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug", broker=where),), heaters=heaters)


@pytest.fixture(scope="module")
def loss(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Loss]:
    folder = tmp_path_factory.mktemp("loss")
    (folder / "barn").mkdir()
    with MosquittoBroker(folder) as first, MosquittoBroker(folder / "barn") as second:
        made = Loss(folder, first, second)
        with made.shop:
            yield made


def test_a_killed_broker_cannot_keep_the_power_on_and_is_found_again(loss: Loss, long_count: Callable[[int, int], int]) -> None:
    """Rows F04, F18 and F64; under --long the broker is away long enough for every pause between attempts to reach its cap."""
    shop, broker, board = loss.shop, loss.brokers["shed"], loss.boards["anvil"]
    until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
    t0 = seconds()
    broker.stop(kill=True)
    off_s = until(board.off_at) - t0
    assert GRACE_S - 0.5 < off_s < GRACE_S + 1.0, "the plug is known to be out of reach: the board goes at once"
    figure("F04 broker killed to power gone by program (grace 3 s)", off_s)
    assert [(trip.check, trip.kind) for trip in shop.trips("anvil")] == [("no readings", "missing readings")]
    assert "does not carry readings of" in shop.loud("connection shed").sentence
    assert shop.state("bramble") == "not protected"
    until(lambda: shop.guard.printer("anvil")["latch"]["verdict"] == "confirmed")

    threading.Event().wait(long_count(0, 40))
    t1 = seconds()
    broker.start()
    until(lambda: shop.heater("bramble")["age_s"] < 1.0, 10)
    heard = shop.event("readings resumed", "bramble", since=t1)
    figure("F18 broker started again to first reading", heard.at.engine_s - t1)
    assert heard.at.engine_s - t1 < 5.0
    until(lambda: shop.state("bramble") == "protected", 10)
    assert shop.trips("bramble") == []
    assert shop.off_after_s("anvil-plug", t1) < 5.0, "the latch still stands: the plug is opened as soon as it can be"


def test_a_frozen_broker_is_no_longer_believed_than_a_dead_one(loss: Loss) -> None:
    """Row F05: the transport would need twice its keepalive of 10 s."""
    shop, broker, board = loss.shop, loss.brokers["barn"], loss.boards["cinder"]
    until(lambda: shop.state("cinder") == "protected")
    t0 = seconds()
    broker.freeze()
    try:
        stale = shop.event("readings stopped", since=t0)
        off_s = until(board.off_at) - t0
    finally:
        broker.thaw()
    assert stale.at.engine_s - t0 < 2.0 + 1.5
    assert GRACE_S - 0.5 < off_s < GRACE_S + SENT_WITHIN_S + 1.0, "the plug gets its time to take the command"
    figure("F05 broker frozen to stale in the record (advise 2 s + 1 s)", stale.at.engine_s - t0)
    figure("F05 broker frozen to power gone by program (grace 3 s)", off_s)
    assert [trip.kind for trip in shop.trips("cinder")] == ["missing readings"]
    until(lambda: shop.heater("dahlia")["age_s"] < 1.0, 10)
    assert shop.trips("dahlia") == []
