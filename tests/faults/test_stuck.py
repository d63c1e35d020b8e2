"""Row F45: a guard whose loop is dead says nothing more to its service manager, and one at full load never misses a word."""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path

import pytest
from rig import faulty_guard
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.guard import AS_INSTALLED, Guard
from rig.measuring import Flood, packet
from rig.service_manager import Ear
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

WATCHDOG_S = 2.0
LIMIT_S = 1.0
"""A loop that has not turned for so long gets no word: a quarter of the interval, and a second at least."""

LOOK_S = 0.2
FAULTY = (sys.executable, str(Path(faulty_guard.__file__)))

Begin = Callable[..., tuple[Workshop, Ear]]


@pytest.fixture
def begin(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Begin]:
    """Begin a workshop whose guard has a service manager."""
    with ExitStack() as stack:

        def begun(*command: str) -> tuple[Workshop, Ear]:
            shop = stack.enter_context(Workshop(tmp_path, SiteTable(printers=(simple("anvil"), simple("bramble"))), broker))
            ear = stack.enter_context(Ear(tmp_path, WATCHDOG_S))
            shop.guard = Guard(shop.guard.config, shop.guard.state, command=command, environment=ear.environment)
            stack.callback(shop.guard.__exit__, None, None, None)
            return shop.begin(), ear

        yield begun


def test_a_guard_at_full_load_is_ready_gets_every_word_out_and_says_goodbye(begin: Begin, broker: MosquittoBroker) -> None:
    shop, ear = begin(*AS_INSTALLED)
    (ready_at,) = until(lambda: ear.times("READY=1"))
    assert "STATUS=watching anvil, bramble" in [said.text for said in ear.said]
    judged, t0 = shop.guard.status()["guard"]["judged_readings"], seconds()
    flood = Flood(broker.port)
    flood.send([packet("millbrook/anvil/bed", b'{"temperature_c": 60.2, "target_c": 60}')] * 32_000, batch=40, every_s=0.01)
    until(flood.done, 20)
    flood.end()
    rate = (shop.guard.status()["guard"]["judged_readings"] - judged) / (seconds() - t0)
    figure("F45 load while the guard was watched, readings a second", rate)
    assert rate > 2000
    pings = [ready_at, *ear.times("WATCHDOG=1"), seconds()]
    gaps = [later - earlier for earlier, later in pairwise(pings)]
    figure("F45 longest time between two pings of 2 s allowed, at full load", max(gaps))
    assert max(gaps) < WATCHDOG_S
    assert min(gaps[1:-1]) > 0.45 * WATCHDOG_S
    shop.printers["bramble"].temperature_c = 180.0
    until(lambda: ear.times("STATUS=TRIPPED: bramble"))
    shop.guard.stop()
    assert ear.times("STOPPING=1")
    assert not ear.times("WATCHDOG=1", since=ear.times("STOPPING=1")[0])


def test_a_dead_locked_guard_gets_no_word_and_shows_where_it_stands_when_it_is_aborted(begin: Begin) -> None:
    shop, ear = begin(*FAULTY)
    until(lambda: ear.times("WATCHDOG=1"))
    t0 = seconds()
    shop.printers["anvil"].say(faulty_guard.DEADLY_C)
    threading.Event().wait(2 * WATCHDOG_S + LIMIT_S)
    late = [at - t0 for at in ear.times("WATCHDOG=1", since=t0)]
    figure("F45 dead-lock to the last ping after it (0: none came)", max(late, default=0.0))
    assert [at for at in late if at > LIMIT_S + LOOK_S + 0.3] == []
    assert ear.times("STATUS=STUCK: the loop does not turn")
    process = shop.guard.process
    assert process is not None
    process.send_signal(signal.SIGABRT)
    assert shop.guard.ended_within(5) == -signal.SIGABRT
    assert "take_a_lock_twice" in shop.guard.log()


def test_a_dead_locked_guard_ends_itself_where_it_is_asked_to_and_a_stopped_one_does_not(begin: Begin) -> None:
    shop, ear = begin(*FAULTY, "--end-when-stuck", "5")
    until(lambda: ear.times("WATCHDOG=1"))
    process = shop.guard.process
    assert process is not None
    process.send_signal(signal.SIGSTOP)
    threading.Event().wait(6.0)
    process.send_signal(signal.SIGCONT)
    assert shop.guard.ended_within(1.5) is None
    until(lambda: shop.state("anvil") == "protected")
    t0 = seconds()
    shop.printers["anvil"].say(faulty_guard.DEADLY_C)
    assert shop.guard.ended_within(9) == 75
    figure("F45 dead-lock to its own end, asked for after 5 s", seconds() - t0)
    assert "CRITICAL the loop has not turned for 5" in shop.guard.log()
    assert "take_a_lock_twice" in shop.guard.log()
    assert shop.plugs["anvil-plug"].on
