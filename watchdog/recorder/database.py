"""Open the record: SQLite by default, any other database that SQLAlchemy reaches in principle."""

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, cast

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.pool import NullPool

from watchdog.recorder.soundness import DatabaseRefused, Finding, inspect, move_aside, read_only

BUSY_S = 5.0
MIGRATION_S = 120.0


class MigrationFailed(Exception):  # noqa: N818 - it names what happened
    """The tables could not be made or brought up to date; tried again later."""


class Opened(NamedTuple):
    """An engine for a database in order, and sentences that people should read."""

    engine: Engine
    notices: tuple[str, ...]


def url_of(target: Path | str) -> URL:
    """A path is an SQLite file, a text any database URL. Raises ValueError for an SQLite database without a file."""
    url = URL.create("sqlite", database=str(target)) if isinstance(target, Path) else make_url(target)
    if url.get_backend_name() == "sqlite" and url.database in {None, "", ":memory:"}:
        raise ValueError(f"the record needs a file, and {url.render_as_string()!r} names none")
    return url


def sqlite_path(url: URL) -> Path | None:
    """The file behind an SQLite URL; None for other databases."""
    return Path(str(url.database)) if url.get_backend_name() == "sqlite" else None


def open_database(
    target: Path | str, now: Callable[[], float], wall_us: Callable[[], int], check_s: float = 5.0, condemned: str = ""
) -> Opened:
    """Check the file, put a damaged one aside, bring its tables up to date, and return an engine for it.

    `check_s` bounds the check of the whole structure (0: only whose it is). `condemned` is what somebody has found
    wrong with it already. Raises DatabaseRefused for a database of a newer version or of another program (nothing is
    changed), MigrationFailed, OSError or an error of the database driver when it cannot be opened now.
    """
    url = url_of(target)
    path = sqlite_path(url)
    if path is None:
        migrate(url)
        return Opened(writing_engine(url), ())
    finding = Finding("damaged", condemned) if condemned and path.exists() else inspect(path, now, check_s)
    notices = [f"The record {path}: {finding.why}."] if finding.state == "ours" and finding.why else []
    if finding.state in {"newer", "foreign"}:
        raise DatabaseRefused(f"The record {path} is left as it is: {finding.why}. Name another file, or use the version that wrote it.")
    if finding.state == "damaged":
        aside = move_aside(path, wall_us())
        notices.append(f"The record {path} was damaged ({finding.why}). It was moved to {aside.name}, and a new one was begun.")
    if finding.state != "ours":
        migrate(url)
    return Opened(writing_engine(url), tuple(notices))


def migrate(url: URL) -> None:
    """Bring the tables up to date in a process of its own, which takes the migration library with it when it ends."""
    # The URL goes in through a pipe: it may hold a password, and arguments are there for all to see.
    command = [sys.executable, "-P", "-m", "watchdog.recorder.migrate", "-"]
    text = url.render_as_string(hide_password=False)
    try:
        done = subprocess.run(  # noqa: S603 - our own program
            command, input=text, capture_output=True, text=True, timeout=MIGRATION_S, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise MigrationFailed(f"the tables were not ready after {MIGRATION_S:g} s") from error
    if done.returncode:
        said = (done.stderr.strip().splitlines() or [f"exit code {done.returncode}"])[-1]
        raise MigrationFailed(f"the tables could not be made: {said}")


def writing_engine(url: URL) -> Engine:
    """An engine whose commits survive a power cut."""
    if url.get_backend_name() != "sqlite":
        return create_engine(url, poolclass=NullPool)
    engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": BUSY_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def reading_engine(url: URL) -> Engine:
    """An engine that cannot write."""
    path = sqlite_path(url)
    if path is None:
        return create_engine(url, poolclass=NullPool, execution_options={"postgresql_readonly": True})
    return create_engine("sqlite://", poolclass=NullPool, creator=lambda: read_only(path, BUSY_S))


def _prepare(connection: sqlite3.Connection, _record: Any) -> None:  # noqa: ANN401 - the library's own type is private
    # The driver would begin transactions by its own lights and leave DDL out of them: they begin with an event.
    connection.isolation_level = None
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "wal_autocheckpoint = 100", "journal_size_limit = 1048576"):
        # Small checkpoints: on a full disk a large one would need room that is not there.
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    # Straight to the driver: with one row a transaction, the library's way there would be felt. With the lock from the
    # start: a transaction that reads first and then finds the file locked could only fail.
    cast("sqlite3.Connection", connection.connection.dbapi_connection).execute("BEGIN IMMEDIATE")
