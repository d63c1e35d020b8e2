"""The tables of the record: made once, the same ones the code knows, and whole whenever the making is cut short."""

import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from rig.broker import wait_for
from rig.recording import Run, engine_s, recorder, wall_us
from sqlalchemy import create_engine

from watchdog.recorder.database import open_database
from watchdog.recorder.reader import Reader
from watchdog.recorder.soundness import HEAD_REVISION, DatabaseRefused, inspect
from watchdog.recorder.tables import APPLICATION_ID, SCHEMA, metadata

pytestmark = pytest.mark.rig  # real processes, brokers and disks, in real seconds

MIGRATE = [sys.executable, "-m", "watchdog.recorder.migrate"]


def migrate(path: Path, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*MIGRATE, str(path)], check=False, capture_output=True, text=True, timeout=60, **more)  # type: ignore[call-overload,no-any-return]


def schema(path: Path) -> dict[str, str]:
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return {name: " ".join(sql.split()) for name, sql in rows if name != "alembic_version"}


def pragma(path: Path, name: str) -> object:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]


def test_the_migrations_make_the_very_tables_that_the_code_knows(tmp_path: Path) -> None:
    assert migrate(tmp_path / "r.db").returncode == 0
    engine = create_engine(f"sqlite:///{tmp_path / 'expected.db'}")
    metadata.create_all(engine)
    engine.dispose()
    assert schema(tmp_path / "r.db") == schema(tmp_path / "expected.db")
    assert len(schema(tmp_path / "r.db")) >= 5
    assert pragma(tmp_path / "r.db", "application_id") == APPLICATION_ID
    assert pragma(tmp_path / "r.db", "user_version") == SCHEMA
    assert pragma(tmp_path / "r.db", "journal_mode") == "wal"


def test_migrating_twice_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    assert migrate(path).returncode == 0
    before = path.read_bytes()
    assert migrate(path).returncode == 0
    assert path.read_bytes() == before


def test_a_migration_that_cannot_work_ends_with_1_and_one_sentence(tmp_path: Path) -> None:
    done = migrate(tmp_path / "no such folder" / "r.db")
    assert done.returncode == 1
    assert "unable to open database file" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert subprocess.run(MIGRATE, check=False, capture_output=True, timeout=60).returncode == 2


SAMPLE = (1, 3, 5, 12, 20, 33)


@pytest.mark.parametrize("step", [*SAMPLE, *(pytest.param(step, marks=pytest.mark.long) for step in range(48) if step not in (0, *SAMPLE))])
def test_a_migration_killed_at_any_write_is_made_good_by_the_next_start(tmp_path: Path, step: int) -> None:
    """Row F62."""
    if shutil.which("strace") is None:
        pytest.skip("strace, which kills the migration at a given write, is not installed")
    path = tmp_path / "r.db"
    inject = ["strace", "-f", "-o", str(tmp_path / "trace"), "-e", f"inject=pwrite64:signal=KILL:when={step}"]
    killed = subprocess.run([*inject, *MIGRATE, str(path)], check=False, capture_output=True, timeout=60)
    if killed.returncode not in {-signal.SIGKILL, 128 + signal.SIGKILL, 0}:
        pytest.skip(f"strace cannot trace here: {killed.stderr.decode()[:200]}")
    assert (killed.returncode == 0) == (step > 45), "the steps must reach from the first write to the last"
    run, writer = Run(), recorder(path)
    writer.put(run.event())
    writer.start()
    assert writer.close(30), writer.health()
    assert len(Reader(path).events()) == 1
    assert inspect(path, engine_s, 5.0).state == "ours"


def doctored(path: Path, *statements: str) -> bytes:
    assert migrate(path).returncode == 0
    with closing(sqlite3.connect(path)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()
    return path.read_bytes()


def test_a_record_of_a_newer_version_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    content = doctored(path, f"PRAGMA user_version = {SCHEMA + 1}", "UPDATE alembic_version SET version_num = '0002'")
    with pytest.raises(DatabaseRefused, match=r"revision 2, and this version knows revision 1 at most"):
        open_database(path, engine_s, wall_us)
    writer = recorder(path)
    writer.start()
    writer.put(Run().event())
    assert wait_for(lambda: "left as it is" in writer.health().last_error)
    assert not writer.close(10)
    assert path.read_bytes() == content
    assert not list(tmp_path.glob("*damaged*"))


def test_a_database_of_another_program_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE books (title)")
        connection.commit()
    content = path.read_bytes()
    with pytest.raises(DatabaseRefused, match="another program"):
        open_database(path, engine_s, wall_us)
    assert path.read_bytes() == content


def test_a_header_whose_marks_were_damaged_is_told_from_a_newer_version(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    doctored(path, f"PRAGMA user_version = {SCHEMA + 256}")
    assert inspect(path, engine_s, 5.0).state == "ours"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {SCHEMA}")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID ^ 1}")
    finding = inspect(path, engine_s, 5.0)
    assert finding.state == "damaged"
    assert "application id" in finding.why
    assert f"{SCHEMA:04d}" == HEAD_REVISION


def test_a_check_that_takes_too_long_is_broken_off_and_told(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    doctored(
        path,
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 30000)"
        " INSERT INTO events (run, seq, wall_us, engine_s, sentence) SELECT 'r', i, i, i, 'x' FROM n",
    )
    times = iter(range(10**9))
    finding = inspect(path, lambda: float(next(times)), 1.0)
    assert (finding.state, finding.why) == ("ours", "only a part of it could be checked within 1 s")
    assert inspect(path, engine_s, 60.0) == ("ours", "")


def test_what_is_committed_is_on_the_disk(tmp_path: Path) -> None:
    """With less than FULL, a power cut takes all that was committed since the last checkpoint."""
    engine = open_database(tmp_path / "r.db", engine_s, wall_us).engine
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    engine.dispose()
