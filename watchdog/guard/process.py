"""The guard as a process: starts everything in the order that arms it soonest, and ends it without touching a relay."""

import gc
import logging
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from typing import Protocol

from watchdog.core.engine import Engine
from watchdog.core.latch import Latch
from watchdog.core.outputs import Event
from watchdog.guard.answers import Answers
from watchdog.guard.control_socket import ControlSocket
from watchdog.guard.hands import Hands
from watchdog.guard.journal import Journal
from watchdog.guard.keeper import Keeper
from watchdog.guard.loop import Loop
from watchdog.guard.remainders import Remainders
from watchdog.relays.driver import Driver

log = logging.getLogger("heatwarden")

STOP_WITHIN_S = 2.0
TEND_EVERY_S = 1.0

RECORD_AFTER_S = 0.25
"""The record's library takes a while to load, and everything else waits for it meanwhile: first readings are to be judged."""

SWITCH_S = 0.0005
"""A thread that writes records keeps one that has a command to send waiting no longer than this; by default it would be 5 ms."""


class Source(Protocol):
    """A source as the process knows it."""

    def start(self) -> None: ...

    def stop(self, within_s: float = ...) -> bool: ...

    def tend(self) -> None: ...


class Recording(Protocol):
    """The recorder as the process knows it."""

    def start(self) -> None: ...

    def close(self, timeout_s: float) -> bool: ...


class Front(Protocol):
    """The second socket as the process knows it."""

    def start(self) -> None: ...

    def tend(self) -> None: ...

    def stop(self) -> None: ...


class Guard:
    """All running parts. `run` returns when the guard is told to stop."""

    def __init__(
        self,
        *,
        engine: Engine,
        loop: Loop,
        hands: Hands,
        answers: Answers,
        keeper: Keeper,
        remainders: Remainders,
        journal: Journal,
        recorder: Recording,
        control: ControlSocket,
        front: Front,
        drivers: Sequence[Driver],
        sources: Sequence[Source],
        latches: Sequence[Latch],
        notices: Sequence[Event],
        now: Callable[[], float],
        version: str,
        settings_digest: str,
    ) -> None:
        self.engine, self.loop, self.answers = engine, loop, answers
        self._hands, self._keeper, self._journal, self._recorder = hands, keeper, journal, recorder
        self._remainders = remainders
        self._control, self._front, self._drivers, self._sources = control, front, drivers, sources
        self._latches, self._notices = latches, notices
        self._now, self._version, self._settings_digest = now, version, settings_digest
        self._ended = threading.Event()
        self._tender = threading.Thread(target=self._tend, name="tender", daemon=True)

    def run(self, on_armed: Callable[[], None] = lambda: None, on_ending: Callable[[], None] = lambda: None) -> None:
        """Standing latches first, then readings, then people, then the front, then the record."""
        self._journal.started(self._now(), self._version, self._settings_digest)
        self._keeper.start()
        for driver in self._drivers:
            driver.start()
        self._hands.carry_out(self.engine.start(self._latches, self._remainders.found))
        for source in self._sources:
            source.start()
        self._control.start()
        for notice in self._notices:
            self._journal.event(notice)
        self._remainders.start()
        self._tender.start()
        gc.freeze()  # what was built at the start is never looked at by the collector, which would find next to nothing there
        gc.enable()
        sys.setswitchinterval(SWITCH_S)
        on_armed()
        self.loop.run()
        on_ending()
        self._end()

    def stop_on_signals(self) -> None:
        """SIGTERM and SIGINT end the guard; relays stay as they are."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.loop.stop())

    def _tend(self) -> None:
        self._ended.wait(RECORD_AFTER_S)
        self._front.start()
        self._recorder.start()
        while not self._ended.wait(TEND_EVERY_S):
            for source in self._sources:
                try:
                    source.tend()
                except Exception:
                    log.exception("a source could not be tended")
            self._front.tend()

    def _end(self) -> None:
        self._ended.set()
        self._tender.join(STOP_WITHIN_S)
        standing = [name for name, printer in self.engine.site.printers.items() if printer.latch is not None]
        kept = f"; latched: {', '.join(standing)}" if standing else ""
        log.info("told to stop; relays stay as they are%s", kept)
        self._journal.stopped(self._now(), f"told to stop; relays stay as they are{kept}")
        self._control.stop()
        self._front.stop()
        for source in self._sources:
            source.stop(within_s=STOP_WITHIN_S)
        for driver in self._drivers:
            driver.stop()
        self._keeper.stop(STOP_WITHIN_S)
        self._remainders.stop(STOP_WITHIN_S)
        self._recorder.close(STOP_WITHIN_S)
