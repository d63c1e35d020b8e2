"""Whether an SQLite file is our record and in order, and how to put one aside that is not. Changes nothing by looking."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal, NamedTuple
from urllib.parse import quote

from watchdog.recorder.tables import APPLICATION_ID, SCHEMA

ASIDE_AT_MOST = 3
HEAD_REVISION = f"{SCHEMA:04d}"
_OUR_TABLES = {"events", "trips", "runs"}
_DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}

State = Literal["missing", "blank", "ours", "old", "newer", "foreign", "damaged"]


class DatabaseRefused(Exception):  # noqa: N818 - it is no error of the program
    """A database that must not be touched: of a newer version, or of another program."""


class Finding(NamedTuple):
    """What a file is; `why` is a sentence for people. "ours" may carry one too: that not all of it was checked."""

    state: State
    why: str = ""


def is_damage(error: BaseException | None) -> bool:
    """Whether this error of sqlite3 says that the file itself is damaged, and no disk, lock or permission is the matter.

    Where the text of the tables is damaged, the driver cannot even decode the message that quotes it.
    """
    if isinstance(error, UnicodeDecodeError):
        return True
    code = getattr(error, "sqlite_errorcode", None)
    return code is not None and (code & 0xFF in _DAMAGE or code == sqlite3.SQLITE_IOERR_SHORT_READ)


def read_only(path: Path, timeout_s: float = 5.0) -> sqlite3.Connection:
    """A connection that cannot write, and reads damaged texts as far as it can. Raises sqlite3.OperationalError without a file."""
    connection = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, timeout=timeout_s, isolation_level=None)
    connection.text_factory = lambda raw: raw.decode(errors="replace")
    return connection


def inspect(path: Path, now: Callable[[], float], check_s: float) -> Finding:
    """Look at the file; `check_s` bounds the check of its whole structure, 0 leaves it out.

    Raises sqlite3.Error or OSError when the file cannot be looked at now (locked, unreadable, a failing disk).
    """
    try:
        size = path.stat().st_size
    except FileNotFoundError:
        return Finding("missing")
    if size == 0:
        return Finding("damaged", "it is empty")
    try:
        with closing(read_only(path)) as connection:
            finding = _whose(connection)
            return finding if finding.state not in {"ours", "old"} else _checked(connection, finding, now, check_s)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        if is_damage(error):
            return Finding("damaged", str(error))
        raise


def _whose(connection: sqlite3.Connection) -> Finding:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    tables = {str(name) for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables and application in {0, APPLICATION_ID}:
        return Finding("blank")
    if application != APPLICATION_ID and not tables >= _OUR_TABLES:
        return Finding("foreign", f"it is a database of another program (application id {application:#x})")
    if application != APPLICATION_ID:
        return Finding("damaged", f"its application id is {application:#x} instead of {APPLICATION_ID:#x}")
    return _whether_current(version, _revision(connection, tables), tables)


def _whether_current(version: int, revision: str, tables: set[str]) -> Finding:
    # What the migrations say tells a flipped bit in the header from a newer version.
    if version == SCHEMA or revision == HEAD_REVISION:
        missing = ", ".join(sorted(_OUR_TABLES - tables))
        return Finding("damaged", f"it lacks the tables {missing}") if missing else Finding("ours")
    if version < 1:
        return Finding("damaged", f"its tables have no revision ({version})")
    if version > SCHEMA:
        return Finding("newer", f"its tables have revision {version}, and this version knows revision {SCHEMA} at most")
    return Finding("old", f"its tables have revision {version}")


def _revision(connection: sqlite3.Connection, tables: set[str]) -> str:
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone() if "alembic_version" in tables else None
    return str(row[0]) if row else ""


def _checked(connection: sqlite3.Connection, finding: Finding, now: Callable[[], float], check_s: float) -> Finding:
    if check_s <= 0:
        return finding
    until = now() + check_s
    connection.set_progress_handler(lambda: int(now() > until), 10_000)
    try:
        (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_INTERRUPT:
            return Finding(finding.state, f"only a part of it could be checked within {check_s:g} s")
        raise
    return finding if verdict == "ok" else Finding("damaged", str(verdict))


def move_aside(path: Path, wall_us: int) -> Path:
    """Give the file (with what belongs to it) another name beside it, and return that name. Raises OSError.

    At most three are kept: the oldest, which holds the history from before the trouble began, and the newest ones.
    """
    stamp = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=wall_us)).strftime("%Y%m%dT%H%M%S.%fZ")
    aside = path.with_name(f"{path.name}.damaged-{stamp}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.name}.damaged-{stamp}-{number}")
    # The main file goes last: a move that is broken off is found again and finished.
    for suffix in ("-shm", "-wal", "-journal", ""):
        part = path.with_name(path.name + suffix)
        if part.exists():
            part.rename(aside.with_name(aside.name + suffix))
    for old in _asides(path)[1 : 1 - ASIDE_AT_MOST]:
        for suffix in ("-shm", "-wal", "-journal", ""):
            old.with_name(old.name + suffix).unlink(missing_ok=True)
    return aside


def _asides(path: Path) -> list[Path]:
    """The files moved aside so far, the oldest first."""
    ours = (other for other in path.parent.iterdir() if other.name.startswith(f"{path.name}.damaged-"))
    return sorted(other for other in ours if not other.name.endswith(("-shm", "-wal", "-journal")))
