"""A whole guard in this process whose clocks are set by hand: wired as it always is, its loop turned by the test."""

from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from watchdog.core.inputs import Reading
from watchdog.guard.clock import Clock
from watchdog.guard.inbox import Question
from watchdog.recorder.reader import Reader
from watchdog.recorder.rows import EventRow
from watchdog.settings.addresses import Broker
from watchdog.settings.feeds import Readings
from watchdog.settings.model import Heater, MainFile, PrinterFile, Settings
from watchdog.settings.relay_tables import PretendRelayTable
from watchdog.sources.log_time import stamp_at
from watchdog.wire.control import Request
from watchdog.wiring import RECORD, Standing, guard_for

NOON_US: Final = 1_792_929_600_000_000
"""2026-10-25 at 12:00 UTC."""

PRINTERS: Final = ("anvil", "bramble", "cinder")


def settings(folder: Path) -> Settings:
    """Three printers with a bed each, read once a second, and a relay each that only writes down what it is told."""
    heater = Heater(kind="bed", readings=Readings(broker="shed", topic="millbrook/bed", longest_interval_s=3.0))
    relays: dict[str, Any] = {
        f"{name}-plug": PretendRelayTable(kind="pretend", cuts="printer", file=str(folder / name)) for name in PRINTERS
    }
    main = MainFile(site="millbrook", brokers={"shed": Broker(host="127.0.0.1")}, relays=relays)
    return Settings(main, {name: PrinterFile(relays=(f"{name}-plug",), heaters={"bed": heater}) for name in PRINTERS})


class GuardByHand:
    """`at` is engine time and `slept_s` what the computer has slept, in seconds; `wall_us` is what the wall clock shows at `at` 0."""

    def __init__(self, folder: Path, *, at: float = 1000.0) -> None:
        self.at, self.slept_s, self.wall_us = at, 0.0, NOON_US
        clock = Clock(lambda: self.at, lambda: self.slept_s, self._wall_us, lambda: stamp_at(self._wall_us() / 1e6, "Z"))
        state = folder / "state"
        state.mkdir(parents=True)
        self.standing = Standing(state, clock)
        self.guard = guard_for(settings(folder), self.standing, digest="by hand", notices=[])
        self.guard._journal.started(self.at, "by hand", "by hand")
        self.guard._keeper.start()
        for driver in self.guard._drivers:
            driver.start()
        self.guard._hands.carry_out(self.guard.engine.start(()))
        self.guard._recorder.start()
        self._record = state / RECORD

    def _wall_us(self) -> int:
        return self.wall_us + round(self.at * 1e6)

    def hear(self, temperature_c: float = 60.0, *, printers: tuple[str, ...] = PRINTERS, target_c: float = 60.0) -> None:
        """A reading of the bed of each, now."""
        for name in printers:
            self.standing.inbox.reading(Reading(name, "bed", self.at, temperature_c, target_c))

    def run(self, for_s: int, heard: Callable[[int], None] | None = None) -> None:
        """So many seconds, one turn in each; `heard(second)` lets readings be heard, by default healthy ones of all."""
        for second in range(for_s):
            self.at += 1.0
            if heard is None:
                self.hear(60.0 + second % 3 / 10)
            else:
                heard(second)
            self.guard.loop.turn()
            self.guard.loop.turn()  # what the relays answered

    def latched(self) -> dict[str, str]:
        """Latched printers, and by which check."""
        found = self.guard.engine.site.printers
        return {name: printer.latch.check for name, printer in found.items() if printer.latch is not None}

    def status(self) -> dict[str, Any]:
        """What the guard says of itself now."""
        question = Question(Request("status"))
        self.guard.answers.answer(question)
        shown: dict[str, Any] = question.reply["status"]
        return shown

    def events(self) -> list[EventRow]:
        """All events on record, in their order."""
        recorder: Any = self.guard._recorder
        assert recorder.flush(20), recorder.health()
        return Reader(self._record).events(limit=1000)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.guard._keeper.stop(5)
        for driver in self.guard._drivers:
            driver.stop()
        assert self.guard._recorder.close(5)
        self.guard._control._server.server_close()  # it is bound, and was never served
