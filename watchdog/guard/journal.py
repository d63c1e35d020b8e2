"""Events on their way to the record and to the log. Never blocks; the database may come later, or never."""

import logging
from collections.abc import Callable
from typing import Protocol

from watchdog.core.outputs import Event, Level
from watchdog.guard.recent import Recent
from watchdog.recorder.records import EventRecord, Record, RecorderHealth, StartRecord, StopRecord
from watchdog.wire.plain_text import printable

log = logging.getLogger("heatwarden")

LEVELS: dict[Level, int] = {"info": logging.INFO, "warning": logging.WARNING, "alarm": logging.CRITICAL}


class Recording(Protocol):
    """The recorder as the journal knows it."""

    def put(self, record: Record) -> None: ...

    def health(self) -> RecorderHealth: ...


class Journal:
    """Numbers records, gives them wall time, logs them, hands them to the recorder. For the loop's thread."""

    def __init__(self, run: str, recorder: Recording, wall_us: Callable[[], int]) -> None:
        self._run, self._recorder, self._wall_us = run, recorder, wall_us
        self._seq = 0
        self.recent = Recent()

    def event(self, event: Event) -> None:
        """Log an event and put it on record."""
        where = f"{event.printer}: " if event.printer else ""
        log.log(LEVELS[event.level], "%s", printable(f"{where}[{event.kind}] {event.sentence}", 500))
        self.recent.note(event)
        self._put(EventRecord(self._run, self._next(), self._wall_us(), event))

    def started(self, engine_s: float, version: str, settings_digest: str) -> None:
        """The first record of a run."""
        self._put(StartRecord(self._run, self._next(), self._wall_us(), engine_s, version, settings_digest))

    def stopped(self, engine_s: float, how: str) -> None:
        """The last record of a run."""
        self._put(StopRecord(self._run, self._next(), self._wall_us(), engine_s, how))

    def health(self) -> RecorderHealth:
        """How the recorder is; not well while its database is not open yet."""
        return self._recorder.health()

    def _next(self) -> int:
        self._seq += 1
        return self._seq

    def _put(self, record: Record) -> None:
        self._recorder.put(record)
