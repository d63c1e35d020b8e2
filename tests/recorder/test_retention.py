"""Old events go, little by little, and no clock can make the record go all at once."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import wait_for
from rig.recording import DAY_US, NEW_YEAR_US, Run
from sqlalchemy import Connection

from watchdog.recorder.database import migrate, url_of, writing_engine
from watchdog.recorder.reader import Reader
from watchdog.recorder.records import Record
from watchdog.recorder.retention import Retention
from watchdog.recorder.storing import prepare, store
from watchdog.recorder.writer import Recorder

DAY_S = 86_400.0


@pytest.fixture
def connection(tmp_path: Path) -> Iterator[Connection]:
    url = url_of(tmp_path / "r.db")
    migrate(url)
    engine = writing_engine(url)
    with engine.connect() as opened:
        yield opened
    engine.dispose()


def put(connection: Connection, records: list[Record]) -> None:
    store(connection, [(record, prepare(record)) for record in records], skip_stored=False)


def sweep(connection: Connection, retention: Retention, run: str, wall_us: int, engine_s: float) -> int:
    deleted = retention.step(connection, run, wall_us, engine_s)
    while retention.wants(engine_s):
        deleted += retention.step(connection, run, wall_us, engine_s)
    return deleted


def seqs(tmp_path: Path) -> list[int]:
    return [event.seq for event in Reader(tmp_path / "r.db").events(limit=1000)]


def test_old_events_go_and_trips_with_all_that_tells_of_them_stay(connection: Connection, tmp_path: Path) -> None:
    run = Run("old")
    put(connection, [*(run.event() for _ in range(300)), run.trip(), run.event("relay sent", trip="anvil-1")])
    run.at_us += 40 * DAY_US
    put(connection, [run.event() for _ in range(100)])
    retention = Retention(keep_days=30, floor=10, share=1.0, window=37)
    assert sweep(connection, retention, "now", NEW_YEAR_US + 41 * DAY_US, 5.0) == 300
    assert seqs(tmp_path) == list(range(301, 403))
    assert len(Reader(tmp_path / "r.db").trips()) == 1


def test_a_sweep_takes_only_its_share_and_the_next_one_comes_a_day_later(connection: Connection) -> None:
    run = Run("old")
    put(connection, [run.event() for _ in range(1000)])
    retention = Retention(keep_days=30, floor=100, share=0.1)
    retention.started(100.0)
    assert not retention.wants(100.0)
    assert retention.wants(100.0 + 3600)
    far = NEW_YEAR_US + 1000 * DAY_US
    assert [sweep(connection, retention, "now", far, day * DAY_S) for day in range(1, 4)] == [100, 90, 81]
    assert not retention.wants(3.5 * DAY_S)
    assert retention.wants(4 * DAY_S)


def test_a_wall_clock_that_jumps_forward_deletes_nothing_of_this_run_and_never_the_newest(connection: Connection, tmp_path: Path) -> None:
    """Row F41."""
    before, now = Run("before"), Run("now")
    put(connection, [before.event() for _ in range(100)])
    put(connection, [now.event() for _ in range(500)])
    far = NEW_YEAR_US + 90 * DAY_US
    assert sweep(connection, Retention(keep_days=30, floor=0, share=1.0), "now", far, 600.0) == 100
    assert seqs(tmp_path) == list(range(1, 501))
    assert sweep(connection, Retention(keep_days=30, floor=500, share=1.0), "another run", far, 600.0) == 0
    # Forty days later by the engine's own clock, they are old indeed.
    assert sweep(connection, Retention(keep_days=30, floor=0, share=1.0), "now", far, 40 * DAY_S) == 500


def test_an_empty_record_and_one_below_the_floor_are_swept_without_harm(connection: Connection, tmp_path: Path) -> None:
    retention = Retention(keep_days=1)
    assert sweep(connection, retention, "now", NEW_YEAR_US, 1.0) == 0
    run = Run("old")
    put(connection, [run.event() for _ in range(10)])
    assert sweep(connection, retention, "now", NEW_YEAR_US + 100 * DAY_US, 2 * DAY_S) == 0
    assert len(seqs(tmp_path)) == 10


def test_the_recorder_sweeps_by_itself_an_hour_after_its_start_and_not_before(tmp_path: Path) -> None:
    engine_s = [0.0]
    writer = Recorder(tmp_path / "r.db", lambda: engine_s[0], lambda: NEW_YEAR_US + 100 * DAY_US, keep_days=30)
    old, now = Run("old"), Run("now", NEW_YEAR_US + 100 * DAY_US)
    writer.start()
    for _ in range(10_300):
        writer.put(old.event())
    writer.put(now.start())
    assert writer.flush(30), writer.health()
    reader = Reader(tmp_path / "r.db")
    assert reader.events(limit=1)[0].seq == 1
    engine_s[0] = 3601.0
    writer.put(now.event())
    # 10,301 events, of which the newest 10,000 stay whatever the clock says.
    assert wait_for(lambda: reader.events(limit=1)[0].seq == 302, within_s=20)
    assert writer.close(10)
    assert writer.health().lost == 0
