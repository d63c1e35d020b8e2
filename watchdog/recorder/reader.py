"""Read the record: for the command line and the API. It cannot write."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, Table, select
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from watchdog.recorder.database import reading_engine, sqlite_path, url_of
from watchdog.recorder.rows import EventRow, RunRow, TripRow, TripStory, event_row, run_row, trip_row
from watchdog.recorder.soundness import inspect
from watchdog.recorder.tables import events, runs, trips

MOST = 1000
"""No page is longer than this."""


class Only(NamedTuple):
    """Which rows: what is empty or None does not matter. Times are UTC in microseconds; `until_us` itself is left out."""

    printers: tuple[str, ...] = ()
    kind: str = ""
    level: str = ""
    since_us: int | None = None
    until_us: int | None = None


ALL = Only()


class RecordUnreadable(Exception):  # noqa: N818 - it names what is the matter
    """The record cannot be read now; the text says why."""


class Reader:
    """Pages through the record. Each call opens a connection of its own and sees one consistent state.

    Pages are cut by id (`before_id`, `after_id`), so that rows that come meanwhile shift nothing. Texts come as they
    were recorded: whoever shows them, or puts them into a spreadsheet, must escape them for that place. Every method
    raises RecordUnreadable.
    """

    def __init__(self, target: Path | str) -> None:
        self._url = url_of(target)
        self._path = sqlite_path(self._url)
        self._engine = reading_engine(self._url)

    def trips(self, limit: int = 50, before_id: int | None = None, printer: str = "", *, only: Only = ALL) -> list[TripRow]:
        """Trips, the newest first; of one printer, if named. A trip has no level."""
        query = _which(_newest(trips, limit, before_id, printer), trips, only._replace(level=""))
        with self._connected() as connection:
            return [trip_row(row) for row in connection.execute(query).mappings()]

    def trip(self, trip: int | str, limit: int = MOST) -> TripStory | None:
        """One trip by its id, or the newest one of that name, with its events (the first `limit`); None if there is none."""
        wanted = trips.c.id == trip if isinstance(trip, int) else trips.c.trip == trip
        with self._connected() as connection:
            row = connection.execute(_newest(trips, 1).where(wanted)).mappings().first()
            if row is None:
                return None
            query = select(events).where(events.c.trip_id == row["id"]).order_by(events.c.id).limit(_page(limit))
            return TripStory(trip_row(row), [event_row(each) for each in connection.execute(query).mappings()])

    def events(
        self, after_id: int = 0, limit: int = 200, since_wall_us: int | None = None, printer: str = "", *, only: Only = ALL
    ) -> list[EventRow]:
        """Events in the order in which they were stored, after this id and not older than this time (UTC, microseconds)."""
        query = _which(select(events).where(events.c.id > after_id).order_by(events.c.id).limit(_page(limit)), events, only)
        if since_wall_us is not None:
            query = query.where(events.c.wall_us >= since_wall_us)
        if printer:
            query = query.where(events.c.printer == printer)
        with self._connected() as connection:
            return [event_row(row) for row in connection.execute(query).mappings()]

    def latest_events(self, limit: int = 50, before_id: int | None = None, printer: str = "", *, only: Only = ALL) -> list[EventRow]:
        """Events, the newest first."""
        query = _which(_newest(events, limit, before_id, printer), events, only)
        with self._connected() as connection:
            return [event_row(row) for row in connection.execute(query).mappings()]

    def newest_event_id(self) -> int:
        """The id of the newest event; 0 when there is none."""
        with self._connected() as connection:
            return int(connection.scalar(_newest(events, 1).with_only_columns(events.c.id)) or 0)

    def runs(self, limit: int = 50, before_id: int | None = None) -> list[RunRow]:
        """Starts and stops of the guard, the newest first."""
        with self._connected() as connection:
            last = connection.scalar(_newest(runs, 1).with_only_columns(runs.c.id))
            rows = connection.execute(_newest(runs, limit, before_id)).mappings()
            return [run_row(row, newest=row["id"] == last) for row in rows]

    @contextmanager
    def _connected(self) -> Iterator[Connection]:
        try:
            if self._path is not None:
                # Only whose it is: the check of the whole file is the writer's.
                finding = inspect(self._path, lambda: 0.0, 0.0)
                if finding.state != "ours":
                    raise RecordUnreadable(f"The record {self._path} cannot be read: {finding.why or _STATES[finding.state]}.")
            with self._engine.connect() as connection:
                yield connection
        except (SQLAlchemyError, sqlite3.Error, OSError, UnicodeDecodeError) as error:
            cause = error.orig if isinstance(error, DBAPIError) else error
            raise RecordUnreadable(f"The record {self._path or self._url.render_as_string()} cannot be read: {cause}.") from error


_STATES = {"missing": "there is no such file; it is made when the guard starts", "blank": "it has no tables yet"}


def _page(limit: int) -> int:
    return max(1, min(limit, MOST))


def _newest(table: Table, limit: int, before_id: int | None = None, printer: str = "") -> Select[Any]:
    query = select(table).order_by(table.c.id.desc()).limit(_page(limit))
    if before_id is not None:
        query = query.where(table.c.id < before_id)
    return query.where(table.c.printer == printer) if printer else query


def _which(query: Select[Any], table: Table, only: Only) -> Select[Any]:
    if only.printers:
        query = query.where(table.c.printer.in_(only.printers))
    if only.since_us is not None:
        query = query.where(table.c.wall_us >= only.since_us)
    if only.until_us is not None:
        query = query.where(table.c.wall_us < only.until_us)
    for name in ("kind", "level"):
        if getattr(only, name):
            query = query.where(table.c[name] == getattr(only, name))
    return query
