"""The writer's hold on the database: one connection, made anew after every error."""

import contextlib
from collections.abc import Callable, Sequence
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError

from watchdog.recorder.database import open_database, sqlite_path, url_of
from watchdog.recorder.records import Record
from watchdog.recorder.retention import Retention
from watchdog.recorder.soundness import is_damage
from watchdog.recorder.storing import Row, prepare, store


class Session:
    """For one thread. Every method may raise an error of the database or the disk; call `failed` with it, then try again."""

    def __init__(self, target: Path | str, now: Callable[[], float], wall_us: Callable[[], int], say: Callable[[str], None]) -> None:
        self._target = target
        self._path = sqlite_path(url_of(target))
        self._now = now
        self._wall_us = wall_us
        self._say = say
        self._connection: Connection | None = None
        self._file: tuple[int, int] | None = None
        self._check_s = 5.0
        self._condemned = ""
        self._unsure = False

    def connect(self) -> Connection:
        """The connection; made, with all that belongs to opening the record, when there is none or its file is gone."""
        if self._connection is not None and self._identity() != self._file:
            self._say("The record's file was removed or exchanged while it was in use. It is opened anew.")
            self.close()
        if self._connection is None:
            opened = open_database(self._target, self._now, self._wall_us, self._check_s, self._condemned)
            for notice in opened.notices:
                self._say(notice)
            self._condemned = ""
            self._connection = opened.engine.connect()
            self._check_s, self._file = 0.0, self._identity()
        return self._connection

    def store(self, records: Sequence[Record]) -> list[str]:
        """Store and commit the records; returns what was wrong with those that no database could take."""
        refused: list[str] = []
        batch: list[tuple[Record, Row]] = []
        for record in records:
            try:
                batch.append((record, prepare(record)))
            except (TypeError, ValueError, AttributeError, OverflowError) as error:
                refused.append(_short(error))
        connection = self.connect()
        try:
            store(connection, batch, skip_stored=self._unsure)
        except (DataError, IntegrityError):
            # One of them is bad, not the database: it must not keep the others from being stored.
            refused += self._store_one_by_one(connection, batch)
        self._unsure = False
        return refused

    def prune(self, retention: Retention, run: str) -> None:
        retention.step(self.connect(), run, self._wall_us(), self._now())

    def failed(self, error: Exception) -> str:
        """Let the connection go after this error; returns it as a sentence."""
        cause = error.orig if isinstance(error, DBAPIError) else error
        if is_damage(cause):
            self._condemned = _short(error)
        self._unsure = True
        with contextlib.suppress(Exception):
            self.close()
        return _short(error)

    def close(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                connection.close()
            finally:
                connection.engine.dispose()

    def _store_one_by_one(self, connection: Connection, batch: Sequence[tuple[Record, Row]]) -> list[str]:
        refused = []
        for one in batch:
            try:
                store(connection, [one], skip_stored=self._unsure)
            except (DataError, IntegrityError) as error:
                refused.append(_short(error))
        return refused

    def _identity(self) -> tuple[int, int] | None:
        if self._path is None:
            return None
        try:
            found = self._path.stat()
        except FileNotFoundError:
            return None
        return found.st_dev, found.st_ino


def _short(error: Exception) -> str:
    """One line, without the statement and its values."""
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    return f"{type(cause).__name__}: {' '.join(str(cause).split())}"[:300]
