"""One committed row: the recorder's way (SQLAlchemy Core) beside sqlite3 alone, both WAL and FULL, in turns in one run.

`python tests/benchmarks/store_rows.py [ROWS]` prints medians and their ratio (1 is as fast as sqlite3). It asserts nothing.
"""

import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

from sqlalchemy import Connection

from watchdog.core.outputs import Event
from watchdog.recorder.database import migrate, url_of, writing_engine
from watchdog.recorder.records import EventRecord
from watchdog.recorder.storing import prepare, store

ROUND = 50


def record(run: str, seq: int) -> EventRecord:
    event = Event(float(seq), "advice", "warning", "the bed is slower than its heater can be", "anvil", "bed", "no response")
    return EventRecord(run, seq, 1_767_225_600_000_000 + seq, event._replace(numbers={"temperature_c": 61.25, "slope_k_per_s": 0.02}))


def bare(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def bare_row(connection: sqlite3.Connection, one: EventRecord) -> None:
    row = prepare(one)
    connection.execute("BEGIN IMMEDIATE")
    connection.execute(f"INSERT INTO events ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))
    connection.execute("COMMIT")


def core_row(connection: Connection, one: EventRecord) -> None:
    store(connection, [(one, prepare(one))], skip_stored=False)


def main(rows: int) -> None:
    # Beside the code, not in /tmp: that may be memory, where nothing waits for a disk.
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        paths = [Path(folder) / name for name in ("core.db", "bare.db")]
        for path in paths:
            migrate(url_of(path))
        engine, alone = writing_engine(url_of(paths[0])), bare(paths[1])
        times: dict[str, list[float]] = {"core": [], "sqlite3": []}
        with engine.connect() as connection:
            for begin in range(0, rows, ROUND):
                for seq in range(begin, begin + ROUND):
                    before = time.perf_counter()
                    core_row(connection, record("core", seq))
                    times["core"].append(time.perf_counter() - before)
                for seq in range(begin, begin + ROUND):
                    before = time.perf_counter()
                    bare_row(alone, record("bare", seq))
                    times["sqlite3"].append(time.perf_counter() - before)
        alone.close()
        engine.dispose()
    medians = {name: statistics.median(values[ROUND:]) for name, values in times.items()}
    for name, median in medians.items():
        sys.stdout.write(f"{name}: {median * 1e3:.3f} ms a committed row (median of {len(times[name]) - ROUND})\n")
    sys.stdout.write(f"ratio: {medians['sqlite3'] / medians['core']:.2f} of the speed of sqlite3\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
