"""A guard that is stopped and goes on: row F42. What happened meanwhile is judged at once, and nobody pays for the pause."""

import signal
import threading
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0
NORMAL_S = 2 * 0.25 + 1.0
"""From hot in the script to power gone, at four readings a second."""

STOPS = {5.0: ("anvil", "bramble"), 60.0: ("cinder", "dahlia")}
"""How long guards are stopped, in seconds; a printer of each that becomes too hot meanwhile, and one that stays well."""

LONGEST_LAG_S = 5.0
"""Up to here a late turn is a delay; above it nobody listened, and nothing that was heard before counts."""


class Stopped:
    """A guard that is stopped in the middle of its work, by a thread of the rig. Times are those of the rig's clock, in seconds."""

    def __init__(self, shop: Workshop, stop_s: float) -> None:
        self.shop, self.stop_s = shop, stop_s
        self.hot, self.well = STOPS[stop_s]
        self.stopped_at = self.hot_at = self.continued_at = 0.0
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        process = self.shop.guard.process
        assert process is not None
        self.stopped_at = seconds()
        process.send_signal(signal.SIGSTOP)
        self._ending.wait(self.stop_s / 2)
        self.hot_at = seconds()
        self.shop.printers[self.hot].temperature_c = HOT_C
        self._ending.wait(self.stop_s / 2)
        process.send_signal(signal.SIGCONT)
        self.continued_at = seconds()

    def wait(self) -> None:
        """Until the guard goes on."""
        self._thread.join(self.stop_s + 10.0)
        assert self.continued_at

    def end(self) -> None:
        """Let it go on now, if it does not yet: it could not end otherwise."""
        self._ending.set()
        self._thread.join(5.0)


def protected(shop: Workshop) -> bool:
    return bool(shop.guard.status()["state"] == "protected")


def begin_early(stack: ExitStack, folder: Path, *, full: bool) -> dict[float, Stopped]:
    """Two guards that are stopped, for 5 s and for 60 s, while others are tested."""
    del full
    broker = stack.enter_context(MosquittoBroker(folder))
    begun: dict[float, Stopped] = {}
    for stop_s, names in STOPS.items():
        shop = Workshop(folder / f"stop-{stop_s:g}", SiteTable(printers=tuple(simple(name) for name in names)), broker)
        stack.enter_context(shop).begin()
        until(partial(protected, shop))
        begun[stop_s] = Stopped(shop, stop_s)
        stack.callback(begun[stop_s].end)
    return begun


@pytest.mark.parametrize("stop_s", STOPS)
def test_a_guard_that_was_stopped_catches_up_and_blames_nobody_for_it(story: dict[float, Stopped], stop_s: float) -> None:
    """Row F42: what is hot loses its power as soon as the guard goes on; what was well all the time keeps it."""
    stopped = story[stop_s]
    stopped.wait()
    shop, hot, well = stopped.shop, stopped.hot, stopped.well
    off_s = shop.off_after_s(f"{hot}-plug", stopped.hot_at, within_s=15.0)
    after_s = off_s - (stopped.continued_at - stopped.hot_at)
    figure(f"F42 stopped for {stop_s:g} s: continued to power gone", after_s)
    assert 0.0 <= after_s < 2.0 * NORMAL_S
    if stop_s <= LONGEST_LAG_S:
        assert off_s < LONGEST_LAG_S + NORMAL_S
    until(lambda: shop.heater(well)["age_s"] < 1.0, 15.0)
    threading.Event().wait(4.0)  # the grace of its silence, and more
    assert shop.state(well) == "protected"
    assert [trip.check for trip in shop.trips(hot)] == ["ceiling"]
    assert shop.trips(well) == []
    assert shop.guard.status()["guard"]["worst_lag_s"] > 0.8 * stop_s
    if stop_s > LONGEST_LAG_S:
        slept = shop.event("suspended", since=stopped.stopped_at)
        assert slept.numbers["slept_s"] == pytest.approx(stop_s, abs=2.0)
