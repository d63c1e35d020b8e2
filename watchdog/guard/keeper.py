"""Stores latches for good, in a thread of its own: a disk that hangs holds up nobody."""

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from typing import Protocol

from watchdog.core.latch import Latch

log = logging.getLogger("heatwarden")

RETRY_S = 1.0


class Store(Protocol):
    """Where latches are kept; `save` returns once they survive a power cut, and raises OSError otherwise."""

    def save(self, latches: Mapping[str, Latch]) -> None: ...


class Keeper:
    """Saves the standing latches after each change, again and again until it works.

    `saved(printer, latched)` is called from this thread once a change is safe. `why` tells why the latest one is
    not; empty when all is well.
    """

    def __init__(self, store: Store, latches: Mapping[str, Latch], saved: Callable[[str, bool], None]) -> None:
        self._store, self._latches, self._saved = store, dict(latches), saved
        self._changes: queue.SimpleQueue[tuple[str, Latch | None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="latch", daemon=True)
        self._stopping = threading.Event()
        self.why = ""

    def start(self) -> None:
        """Begin; the first thing stored is what was found at the start, which also sets the file's space aside."""
        self._changes.put(("", None))
        self._thread.start()

    def change(self, printer: str, latch: Latch | None) -> None:
        """A printer was latched, or released (None). Returns at once."""
        self._changes.put((printer, latch))

    def stop(self, within_s: float) -> bool:
        """Store what waits and end; False when that took too long."""
        self._stopping.set()
        self._changes.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while (change := self._changes.get()) is not None:
            changed = [change]
            while not self._changes.empty():
                another = self._changes.get()
                if another is None:
                    self._changes.put(None)
                    break
                changed.append(another)
            for printer, latch in changed:
                if latch is None:
                    self._latches.pop(printer, None)
                else:
                    self._latches[printer] = latch
            if self._save():
                for printer, latch in changed:
                    if printer:
                        self._saved(printer, latch is not None)

    def _save(self) -> bool:
        while True:
            try:
                self._store.save(self._latches)
            except Exception as error:  # noqa: BLE001 - whatever it is: the latch must be stored as soon as it can be
                if not self.why:
                    log.critical("the latch file cannot be written, a power cut would lose the latch: %s", error)
                self.why = str(error) or repr(error)
                if self._stopping.wait(RETRY_S):
                    return False
            else:
                if self.why:
                    log.warning("the latch file can be written again")
                self.why = ""
                return True
