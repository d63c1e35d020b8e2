"""What can happen to a line between the guard and its broker. All rows run at the same time, each on a line of its own."""

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest
from rig.broker import free_port
from rig.figures import figure
from rig.netns import BrokerInside, Namespace
from rig.program import Board
from rig.site import HeaterTable, PlugTable, PrinterTable, ProgramTable, SiteTable
from rig.slow_line import SlowLine
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

LINES = ("clean", "dropped", "reset", "lossy", "pulled", "plugline")
GRACE_S = 3.0
DROP = ("-j", "DROP")


class Lines:
    """One guard, one broker, and a broker table for each line; NAME's printer is called NAME, and readings come by its line."""

    def __init__(self, folder: Path, stack: ExitStack, long_count: Callable[[int, int], int]) -> None:
        self.long_count = long_count
        self.namespace = stack.enter_context(Namespace(len(LINES)))
        self.broker = stack.enter_context(BrokerInside(folder, self.namespace))
        self.slow = stack.enter_context(SlowLine(self.broker.host, self.broker.port, free_port()))
        self.board = Board(folder / "board")
        ends = [(name, self.namespace.address(number), self.broker.port) for number, name in enumerate(LINES)]
        ends.append(("slow", "127.0.0.1", self.slow.port))
        tables = "".join(f'\n[brokers.{name}]\nhost = "{host}"\nport = {port}\n' for name, host, port in ends)
        heaters = {
            "dropped": HeaterTable(broker="dropped", grace_s=GRACE_S),
            "reset": HeaterTable(broker="reset", grace_s=120.0),
            "lossy": HeaterTable(broker="lossy", grace_s=15.0, advise_s=5.0),
            "pulled": HeaterTable(broker="pulled", grace_s=12.0),
            "slow": HeaterTable(broker="slow", grace_s=4.0),
            "plugline": HeaterTable(broker="clean", confirm_s=0.0),
        }
        printers = [self._printer(name, heater) for name, heater in heaters.items()]
        site = SiteTable(printers=tuple(printers), host=self.broker.host, more=tables)
        self.shop = stack.enter_context(Workshop(folder, site, self.broker))
        self.shop.begin()
        until(lambda: all(printer["state"] == "protected" for printer in self.shop.guard.status()["printers"]), 15)

    def _printer(self, name: str, heater: HeaterTable) -> PrinterTable:
        plug = PlugTable(name=f"{name}-plug", broker="plugline" if name == "plugline" else "clean")
        relays = (plug, ProgramTable(name="plugline-board", program=self.board.program)) if name == "plugline" else (plug,)
        return PrinterTable(name=name, relays=relays, heaters=(heater,))

    def line(self, name: str) -> int:
        return LINES.index(name)


def dropped(lines: Lines) -> None:
    """Row F06."""
    t0 = seconds()
    lines.namespace.rule(lines.line("dropped"), *DROP)
    off_s = lines.shop.off_after_s("dropped-plug", t0)
    stale = lines.shop.event("readings stopped", since=t0, says="dropped/bed")
    figure("F06 packets dropped to power gone (grace 3 s)", off_s)
    figure("F06 packets dropped to stale in the record (advise 2 s + 1 s)", stale.at.engine_s - t0)
    assert GRACE_S - 0.5 < off_s < GRACE_S + 1.0
    assert stale.at.engine_s - t0 < 2.0 + 1.5
    assert [trip.kind for trip in lines.shop.trips("dropped")] == ["missing readings"]


def reset_storm(lines: Lines) -> None:
    """Row F07: at most 30 attempts and 20 lines a minute."""
    lasts_s = lines.long_count(16, 60)
    t0 = seconds()
    words = ("-j", "REJECT", "--reject-with", "tcp-reset")
    lines.namespace.rule(lines.line("reset"), "--syn", *words)
    lines.namespace.rule(lines.line("reset"), *words)
    threading.Event().wait(lasts_s)
    counted = lines.namespace.count(lines.line("reset"))
    lines.namespace.rule(lines.line("reset"), *words, add=False)
    lines.namespace.rule(lines.line("reset"), "--syn", *words, add=False)
    said = [line for line in lines.shop.guard.log().splitlines() if "reset" in line]
    until(lambda: lines.shop.state("reset") == "protected", 10)
    figure(f"F07 attempts to connect in {lasts_s} s of resets (a count)", counted)
    figure(f"F07 lines of log in {lasts_s} s of resets (a count)", len(said))
    assert 3 <= counted <= 30 * lasts_s / 60 + 2, "the first pauses are the shortest"
    assert len(said) <= 20 * lasts_s / 60 + 2
    assert lines.shop.events("source lost", "reset", since=t0)
    assert lines.shop.trips("reset") == []


def lossy(lines: Lines) -> None:
    """Row F08: no false trip at 30 % of packets lost while readings come; at 60 % too, or it is stale and rightly cut."""
    lasts_s = lines.long_count(7, 900)
    for share in ("0.3", "0.6"):
        words = ("-m", "statistic", "--mode", "random", "--probability", share, "-j", "DROP")
        lines.namespace.rule(lines.line("lossy"), *words)
        ages, ends, pause = [], seconds() + lasts_s, threading.Event()
        while seconds() < ends:
            ages.append(lines.shop.heater("lossy")["age_s"])
            pause.wait(0.1)
        lines.namespace.rule(lines.line("lossy"), *words, add=False)
        figure(f"F08 oldest reading under {float(share):.0%} loss for {lasts_s} s", max(ages))
        trips = lines.shop.trips("lossy")
        assert all(trip.kind == "missing readings" for trip in trips), "nothing but real silence cuts"
        assert not trips or max(ages) >= 15.0 - 1.0
        if trips:
            return
    until(lambda: lines.shop.heater("lossy")["age_s"] < 1.0, 20)


def slow(lines: Lines) -> None:
    """Row F09: age counts from receipt; steady delay is no silence, and one that grows past the grace is."""
    lines.slow.delay_s, lines.slow.jitter_s = 1.0, 0.8
    pause, ends, ages = threading.Event(), seconds() + 5.0, []
    while seconds() < ends:
        ages.append(lines.shop.heater("slow")["age_s"])
        pause.wait(0.1)
    figure("F09 oldest reading at 1 s latency and 0.8 s jitter", max(ages))
    assert lines.shop.trips("slow") == []
    t0 = seconds()
    lines.slow.delay_s = 30.0
    off_s = lines.shop.off_after_s("slow-plug", t0, within_s=10.0)
    figure("F09 latency past the grace of 4 s to power gone", off_s)
    assert 4.0 - 0.3 < off_s < 4.0 + 1.8 + 0.5, "what was under way already counts until it has arrived"


def pulled(lines: Lines) -> None:
    """Row F10."""
    t0 = seconds()
    lines.namespace.link(lines.line("pulled"), up=False)
    threading.Event().wait(4.0)
    lines.namespace.link(lines.line("pulled"), up=True)
    lines.shop.event("readings stopped", since=t0, says="pulled/bed")
    back = lines.shop.event("readings resumed", "pulled", since=t0, within_s=8.0)
    figure("F10 line pulled for 4 s: silence", back.at.engine_s - t0)
    assert lines.shop.trips("pulled") == []
    until(lambda: lines.shop.state("pulled") == "protected")


def plug_unreachable(lines: Lines) -> None:
    """Row F67: retried for as long as the latch stands, and sent within 5 s of the line's return."""
    away_s = lines.long_count(9, 600)
    shop, plug = lines.shop, lines.shop.plugs["plugline-plug"]
    lines.namespace.rule(lines.line("plugline"), *DROP)
    t0 = seconds()
    shop.printers["plugline"].temperature_c = 180.0
    second_s = until(lines.board.off_at) - t0
    threading.Event().wait(away_s)
    assert plug.on
    t1 = seconds()
    lines.namespace.rule(lines.line("plugline"), *DROP, add=False)
    off_s = shop.off_after_s("plugline-plug", t1, within_s=10.0)
    figure("F67 plug out of reach: hot to second relay open", second_s)
    figure(f"F67 line back after {away_s} s to plug open", off_s)
    assert second_s < 0.25 + 1.0 + 1.0
    assert off_s < 5.0
    assert len(shop.trips("plugline")) == 1


ROWS: dict[str, Callable[[Lines], None]] = {
    "F06 packets dropped both ways are silence": dropped,
    "F07 a storm of resets floods neither broker nor log": reset_storm,
    "F08 lost packets trip nothing while readings come": lossy,
    "F09 latency is no silence until it is": slow,
    "F10 a line that is pulled for four seconds trips nothing": pulled,
    "F67 a plug out of reach is opened when it can be": plug_unreachable,
}


def begin_early(stack: ExitStack, folder: Path, *, full: bool) -> dict[str, Future[None]]:
    """All rows at once, each in a thread."""
    lines = Lines(folder, stack, lambda sample, all_of_it: all_of_it if full else sample)
    pool = stack.enter_context(ThreadPoolExecutor(len(ROWS)))  # whose end waits for the rows
    return {row: pool.submit(story, lines) for row, story in ROWS.items()}


@pytest.mark.parametrize("row", ROWS)
def test_a_spoilt_line_does_no_more_than_it_must(story: dict[str, Future[None]], row: str) -> None:
    """Rows F06 to F10 and F67."""
    story[row].result()
