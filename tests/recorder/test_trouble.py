"""Disks that fill, files that rot, databases that are locked: the recorder keeps what it has, says so, and recovers."""

import random
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from rig.broker import wait_for
from rig.recording import Run, engine_s, fill, recorder, wall_us

from watchdog.core.outputs import Event
from watchdog.recorder.reader import Reader, RecordUnreadable
from watchdog.recorder.records import EventRecord
from watchdog.recorder.writer import Recorder

pytestmark = pytest.mark.rig  # real processes, brokers and disks, in real seconds


def filled(path: Path, count: int = 300) -> Run:
    """A record in order with so many events, closed."""
    run, writer = Run("run-0"), recorder(path)
    for _ in range(count):
        writer.put(run.event())
    writer.start()
    assert writer.close(30)
    return run


def asides(folder: Path) -> list[str]:
    """The files moved aside, without what belongs to them."""
    return sorted(path.name for path in folder.glob("*.damaged-*Z"))


def records_one_more(path: Path, run: Run) -> Recorder:
    writer = recorder(path)
    writer.put(run.event(sentence="one more"))
    writer.start()
    assert writer.flush(30), writer.health()
    assert writer.health().ok
    assert writer.close(30)
    return writer


def test_a_full_disk_is_told_and_everything_is_stored_once_there_is_room(small_disk: Path) -> None:
    """Row F55."""
    path = small_disk / "r.db"
    run, writer = Run(), recorder(path)
    writer.put(run.start())
    writer.start()
    assert writer.flush(30), writer.health()
    filler = fill(small_disk)
    while writer.health().ok:
        assert run.seq < 20_000
        writer.put(run.event(sentence="x" * 500))
        writer.flush(0.2)
    writer.put(run.trip())
    health = writer.health()
    assert "full" in health.last_error
    assert health.waiting > 0
    assert health.since > 0
    filler.unlink()
    assert writer.flush(30), writer.health()
    health = writer.health()
    assert (health.ok, health.lost, health.waiting, health.last_error) == (True, 0, 0, "")
    assert health.stored == run.seq
    assert writer.close(10)
    reader, seen = Reader(path), 0
    while page := reader.events(after_id=seen, limit=1000):
        seen = page[-1].id
    assert seen == run.seq - 1
    assert len(reader.trips()) == 1


LOCKER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN EXCLUSIVE")
print("locked", flush=True)
sys.stdin.readline()
connection.execute("ROLLBACK")
"""


def test_a_database_locked_by_another_process_delays_only_the_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Row F60."""
    monkeypatch.setattr("watchdog.recorder.database.BUSY_S", 0.2)
    path = tmp_path / "r.db"
    run, writer = filled(path, 1), recorder(path)
    locker = subprocess.Popen([sys.executable, "-c", LOCKER, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert locker.stdout is not None
    assert locker.stdout.readline() == "locked\n"
    writer.start()
    writer.put(run.event())
    assert wait_for(lambda: "locked" in writer.health().last_error)
    slowest = 0.0
    for _ in range(2000):
        before = engine_s()
        writer.put(run.event())
        slowest = max(slowest, engine_s() - before)
    assert slowest < 0.1
    assert not writer.flush(0.05)
    locker.communicate("\n", timeout=10)
    assert writer.flush(30), writer.health()
    assert writer.health().lost == 0
    assert writer.close(10)
    assert Reader(path).latest_events(1)[0].seq == run.seq


WRITING_CHILD = """
import sys
from pathlib import Path
from rig.recording import Run, recorder
run, writer = Run(), recorder(Path(sys.argv[1]))
writer.start()
while True:
    record = run.trip(f"t-{run.seq}") if run.seq % 5 == 0 else run.event()
    writer.put(record)
    if run.seq % 3 == 0 and writer.flush(10):
        print(record.seq, flush=True)
"""


def test_what_was_acknowledged_outlives_kill_9_at_any_moment(tmp_path: Path) -> None:
    """Row F43."""
    dice = random.Random(43)
    for turn in range(4):
        path = tmp_path / f"r{turn}.db"
        command = [sys.executable, "-c", WRITING_CHILD, str(path)]
        rig = str(Path(__file__).parents[1])
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={"PYTHONPATH": rig})
        assert child.stdout is not None
        for _ in range(dice.randrange(1, 60)):
            child.stdout.readline()
        child.send_signal(signal.SIGKILL)
        acknowledged = [int(line) for line in child.communicate(timeout=10)[0].split()]
        newest = acknowledged[-1] if acknowledged else 3
        records_one_more(path, Run("run-2"))
        reader = Reader(path)
        stored = [event.seq for event in reader.events(limit=1000) if event.run == "run-1"]
        assert stored[:newest] == list(range(1, newest + 1))
        assert {trip.seq for trip in reader.trips(1000)} >= {seq for seq in range(1, newest + 1) if seq % 5 == 1}
        assert asides(tmp_path) == []


NO_DATABASES = [
    (b"", "it is empty"),
    (b"\0" * 8192, "not a database"),
    (b"a shopping list\n" * 1000, "not a database"),
    (b"SQLite format 3\0", "not a database"),
]


@pytest.mark.parametrize(("content", "why"), NO_DATABASES, ids=["empty", "zeros", "text", "short"])
def test_a_file_that_is_no_database_is_put_aside_once_and_told(tmp_path: Path, content: bytes, why: str) -> None:
    """Row F59."""
    path = tmp_path / "r.db"
    path.write_bytes(content)
    run = Run()
    health = records_one_more(path, run).health()
    (notice,) = health.notices
    assert why in notice
    (aside,) = asides(tmp_path)
    assert aside in notice
    assert (tmp_path / aside).read_bytes() == content
    assert records_one_more(path, run).health().notices == ()
    assert len(asides(tmp_path)) == 1
    assert [event.sentence for event in Reader(path).events()] == ["one more"] * 2


def test_three_damaged_files_are_kept_the_oldest_among_them(tmp_path: Path) -> None:
    path, run = tmp_path / "r.db", Run()
    for number in range(6):
        path.write_bytes(f"damaged {number}".encode())
        path.with_name("r.db-wal").write_bytes(f"log {number}".encode())
        records_one_more(path, run)
    mains = asides(tmp_path)
    assert [(tmp_path / name).read_bytes() for name in mains] == [b"damaged 0", b"damaged 4", b"damaged 5"]
    assert [(tmp_path / f"{name}-wal").read_bytes() for name in mains] == [b"log 0", b"log 4", b"log 5"]
    assert len(list(tmp_path.glob("*.damaged-*"))) == 3 * len(mains), "each with its log and the index of that"


def flipped(good: bytes, dice: random.Random) -> bytes:
    content = bytearray(good)
    for _ in range(dice.choice([1, 3, 30, 300])):
        # Every other one hits the header or the tables' own pages, where it hurts.
        at = dice.randrange(len(content)) if dice.random() < 0.5 else dice.randrange(4096 * dice.choice([1, 3]))
        content[at] ^= 1 << dice.randrange(8)
    return bytes(content[: dice.choice([len(content), len(content), dice.randrange(len(content))])])


SAMPLE = (*range(6), 23, 141)
"""Two of them damage the very text of the tables, so that the driver cannot decode its own message."""


@pytest.mark.parametrize("seed", [*SAMPLE, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(150) if seed not in SAMPLE)])
def test_flipped_bits_never_keep_new_events_from_being_recorded(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "r.db"
    run = filled(path)
    path.write_bytes(flipped(path.read_bytes(), random.Random(seed)))
    writer = recorder(path)
    writer.start()
    for _ in range(20):
        writer.put(run.event(sentence="one more"))
        writer.put(run.trip(f"t-{run.seq}"))
    done = writer.flush(30)
    assert writer.close(10)
    if not done:
        # A row whose number had been used up by damaged ones is refused, and counted; nothing else is.
        assert writer.health().lost > 0
        assert "could not be stored" in str(writer.health().notices)
    assert len(asides(tmp_path)) <= 1
    readable = True
    try:
        Reader(path).events(limit=1000)
    except RecordUnreadable:
        # Damage in old rows, past what the check at the start can see, and told as such.
        readable = False
    assert readable or asides(tmp_path) == []
    assert Reader(path).latest_events(1)[0].seq == run.seq


def test_damage_met_while_writing_puts_the_file_aside_and_stores_what_was_in_hand(tmp_path: Path) -> None:
    path = tmp_path / "r.db"
    run = filled(path)
    writer = recorder(path)
    writer.start()
    assert wait_for(lambda: writer.health().ok)
    with closing(sqlite3.connect(path)) as connection:
        (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'events'").fetchone()
    with path.open("r+b") as file:
        file.seek(4096 * (root - 1))
        file.write(b"\xff" * 4096)
    writer.put(run.event(sentence="in hand"))
    assert writer.flush(30), writer.health()
    assert "damaged" in writer.health().notices[0]
    assert writer.close(10)
    assert [event.sentence for event in Reader(path).events()] == ["in hand"]
    assert len(asides(tmp_path)) == 1


def test_a_file_removed_in_use_is_made_anew(tmp_path: Path) -> None:
    path, run = tmp_path / "r.db", Run()
    writer = recorder(path)
    writer.start()
    writer.put(run.event())
    assert writer.flush(30)
    for part in tmp_path.iterdir():
        part.unlink()
    writer.put(run.event(sentence="after"))
    assert writer.flush(30), writer.health()
    assert "removed" in writer.health().notices[0]
    assert writer.close(10)
    assert [event.sentence for event in Reader(path).events()] == ["after"]


def test_a_record_that_no_database_could_take_is_counted_and_keeps_nothing_else_back(tmp_path: Path) -> None:
    run, writer = Run(), recorder(tmp_path / "r.db")
    bad = [
        EventRecord("run-1", 2**70, 1, Event(1.0, "advice", "info", "a number too large")),
        EventRecord("run-1", 900, 1, Event(float("nan"), "advice", "info", "no time")),
        EventRecord("run-1", 901, 1, Event(1.0, "advice", "info", "no numbers", numbers={"a": "b"})),  # type: ignore[dict-item]
        EventRecord("run-1", 902, 1, None),  # type: ignore[arg-type]
        None,
    ]
    for one in bad:
        writer.put(run.event())
        writer.put(one)  # type: ignore[arg-type]
    used_twice = run.event()
    writer.put(used_twice)
    writer.put(used_twice)
    writer.start()
    assert not writer.flush(30), "something was lost, and flush must not hide it"
    assert wait_for(lambda: writer.health().waiting == 0)
    health = writer.health()
    assert (health.ok, health.stored, health.lost) == (True, 6, 6)
    assert "6 records could not be stored" in health.notices[0]
    writer.close(10)
    assert [event.seq for event in Reader(tmp_path / "r.db").events()] == [1, 2, 3, 4, 5, 6]


def test_too_many_waiting_records_lose_the_oldest_ordinary_ones_and_keep_the_first_trips(tmp_path: Path) -> None:
    run, writer = Run(), recorder(tmp_path / "r.db", limit=10, urgent_limit=3)
    for number in range(50):
        writer.put(run.trip(f"t-{number}") if number % 10 == 0 else run.event())
    assert (writer.health().waiting, writer.health().lost, writer.health().ok) == (13, 37, False)
    writer.start()
    assert writer.close(30)
    reader = Reader(tmp_path / "r.db")
    assert [trip.trip for trip in reader.trips()] == ["t-20", "t-10", "t-0"]
    assert [event.seq for event in reader.events() if event.kind == "advice"] == [40, *range(42, 51)]
    after = writer.health()
    writer.put(run.event())
    assert writer.health().lost == after.lost + 1


def test_a_recorder_that_never_could_open_its_file_ends_in_time_and_counts_what_is_lost(tmp_path: Path) -> None:
    run, writer = Run(), recorder(tmp_path / "no such folder" / "r.db")
    writer.start()
    writer.put(run.trip())
    assert wait_for(lambda: "unable to open" in writer.health().last_error or "could not be made" in writer.health().last_error)
    before = engine_s()
    assert not writer.close(10)
    assert engine_s() - before < 10
    assert (writer.health().ok, writer.health().lost, writer.health().waiting) == (False, 1, 0)


def test_a_target_that_names_no_file_is_told_and_the_recorder_goes_on_taking_records() -> None:
    run, writer = Run(), recorder("sqlite://")
    writer.start()
    assert wait_for(lambda: "needs a file" in writer.health().last_error)
    writer.put(run.event())
    assert not writer.close(5)
    assert writer.health().lost == 1


def test_a_flush_of_one_record_is_not_held_up_by_others_that_come_later(tmp_path: Path) -> None:
    run, writer = Run(), Recorder(tmp_path / "r.db", engine_s, wall_us)
    writer.start()
    for _ in range(200):
        writer.put(run.event())
        if run.seq % 20 == 0:
            assert writer.flush(30)
    assert writer.close(10)
    assert len(Reader(tmp_path / "r.db").events()) == 200


COMMITTING_CHILD = """
import sys
from pathlib import Path
from rig.recording import Run, recorder
run, writer = Run(), recorder(Path(sys.argv[1]))
writer.start()
errors = set()
for _ in range(40):
    writer.put(run.event())
    while not writer.flush(0.02):
        errors.add(writer.health().last_error)
print(writer.close(10), writer.health().stored, writer.health().lost, sorted(errors - {""}))
"""


def test_a_sync_that_fails_once_is_tried_again_and_every_row_is_there_once(tmp_path: Path) -> None:
    """Row F56."""
    path = tmp_path / "r.db"
    filled(path, 1)
    inject = ["strace", "-f", "-o", str(tmp_path / "trace"), "-e", "inject=fdatasync:error=EIO:when=10..12"]
    rig = {"PYTHONPATH": str(Path(__file__).parents[1])}
    command = [*inject, sys.executable, "-c", COMMITTING_CHILD, str(path)]
    try:
        done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60, env=rig)
    except FileNotFoundError:
        pytest.skip("strace, which makes a sync fail, is not installed")
    if "ptrace" in done.stderr:
        pytest.skip(f"strace cannot trace here: {done.stderr[:200]}")
    assert "(INJECTED)" in (tmp_path / "trace").read_text(errors="replace")
    assert done.stdout.startswith("True 40 0 ['OperationalError: disk I/O error"), (done.stdout, done.stderr)
    assert [event.seq for event in Reader(path).events() if event.run == "run-1"] == list(range(1, 41))
