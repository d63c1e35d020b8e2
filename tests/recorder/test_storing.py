"""What is recorded, and how it reads."""

import subprocess
import sys
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rig.recording import NEW_YEAR_US, Run, recorder

from watchdog.checks.no_readings import NoReadings
from watchdog.core.outputs import Event, EventKind
from watchdog.recorder.reader import Reader, RecordUnreadable
from watchdog.recorder.records import EventRecord, Record
from watchdog.recorder.rows import EventRow
from watchdog.recorder.storing import MISSING_READINGS

pytestmark = pytest.mark.rig  # real processes, brokers and disks, in real seconds


def record(path: Path, *records: Record) -> Reader:
    writer = recorder(path)
    for one in records:
        writer.put(one)
    writer.start()
    assert writer.close(30), writer.health()
    assert writer.health().stored == len(records)
    return Reader(path)


def test_an_event_comes_back_with_everything_it_carried(tmp_path: Path) -> None:
    numbers = {"temperature_c": 131.5, "limit_c": float("inf"), "odd": float("-inf")}
    event = Event(
        12.25, "relay sent", "warning", "ünïcode “sentence”", "anvil", "bed", "ceiling", "anvil-7", "plug", "garage", "sam", numbers
    )
    reader = record(tmp_path / "r.db", EventRecord("run-1", 3, 1_700_000_000_000_001, event))
    (row,) = reader.events()
    assert (row.run, row.seq, row.at) == ("run-1", 3, (1_700_000_000_000_001, 12.25))
    assert (row.kind, row.level, row.sentence) == (event.kind, event.level, event.sentence)
    assert (row.printer, row.heater, row.check, row.trip) == ("anvil", "bed", "ceiling", "anvil-7")
    assert (row.relay, row.source, row.person, row.numbers) == ("plug", "garage", "sam", numbers)
    assert row.trip_id is None


def test_a_trip_gathers_what_became_of_it_and_its_reset(tmp_path: Path) -> None:
    run, later = Run(), Run("run-2")
    records: list[Record] = [
        run.start(),
        run.event("advice"),
        run.trip(check="ceiling"),
        run.event("relay ordered", trip="anvil-1", relay="plug"),
        run.event("cut not confirmed", trip="anvil-1"),
        run.event("cut confirmed", trip="anvil-1"),
        run.event("cut confirmed", trip="anvil-1"),
        later.start(),
        later.event("cut proven", trip="anvil-1"),
        later.event("reset", "the plug was replaced", trip="anvil-1", person="sam"),
    ]
    story = record(tmp_path / "r.db", *records).trip("anvil-1")
    assert story is not None
    trip = story.trip
    assert (trip.run, trip.seq, trip.kind, trip.printer, trip.heater, trip.check) == ("run-1", 3, "danger", "anvil", "bed", "ceiling")
    assert (trip.reason, trip.numbers, trip.at) == ("the bed is above its ceiling", {"temperature_c": 61.25}, (NEW_YEAR_US + 3, 3.0))
    assert trip.unconfirmed == (NEW_YEAR_US + 5, 5.0)
    assert trip.confirmed == (NEW_YEAR_US + 6, 6.0), "the first confirmation counts"
    assert trip.proven == (NEW_YEAR_US + 2, 2.0)
    assert (trip.reset, trip.reset_by, trip.reset_reason) == ((NEW_YEAR_US + 3, 3.0), "sam", "the plug was replaced")
    assert trip.outcome == "proven"
    kinds = ["trip", "relay ordered", "cut not confirmed", "cut confirmed", "cut confirmed", "cut proven", "reset"]
    assert [event.kind for event in story.events] == kinds


@pytest.mark.parametrize(
    ("kinds", "outcome"),
    [
        ([], "open"),
        (["cut not confirmed"], "not confirmed"),
        (["cut not confirmed", "cut confirmed"], "confirmed"),
        (["cut proven", "cut not confirmed"], "proven"),
    ],
)
def test_the_outcome_is_the_best_that_is_known(tmp_path: Path, kinds: list[EventKind], outcome: str) -> None:
    run = Run()
    records: list[Record] = [run.trip(), *(run.event(kind, trip="anvil-1") for kind in kinds)]
    assert [trip.outcome for trip in record(tmp_path / "r.db", *records).trips()] == [outcome]


def test_kinds_of_trips_are_told_apart(tmp_path: Path) -> None:
    run = Run()
    reader = record(
        tmp_path / "r.db",
        run.trip("t-1", "ceiling"),
        run.trip("t-2", MISSING_READINGS),
        run.trip("t-3", "", person="sam"),
        run.event("reset", trip="t-4", person="sam"),
    )
    assert [(trip.trip, trip.kind) for trip in reader.trips()] == [
        ("t-4", "unknown"),
        ("t-3", "by hand"),
        ("t-2", "missing readings"),
        ("t-1", "danger"),
    ]
    assert NoReadings.name == MISSING_READINGS


def test_a_name_used_again_after_a_reset_is_another_trip_and_before_it_the_same(tmp_path: Path) -> None:
    run = Run()
    again = [run.trip(), run.trip(), run.event("reset", trip="anvil-1", person="sam"), run.trip(), run.event("cut proven", trip="anvil-1")]
    reader = record(tmp_path / "r.db", *again, run.trip(printer="bramble"))
    assert [(trip.printer, trip.outcome, trip.reset is None) for trip in reader.trips()] == [
        ("bramble", "open", True),
        ("anvil", "proven", True),
        ("anvil", "open", False),
    ]
    first = reader.trip(1)
    assert first is not None
    assert [event.kind for event in first.events] == ["trip", "trip", "reset"]


def test_starts_and_stops_say_how_each_run_ended(tmp_path: Path) -> None:
    one, two, three, lost = Run("run-1"), Run("run-2"), Run("run-3"), Run("run-0")
    reader = record(tmp_path / "r.db", lost.stop("its start was never recorded"), one.start(), one.stop(), two.start(), three.start())
    assert [(run.run, run.how, run.ended is not None, run.broken_off) for run in reader.runs()] == [
        ("run-3", "", False, False),
        ("run-2", "", False, True),
        ("run-1", "asked to stop", True, False),
        ("run-0", "its start was never recorded", True, False),
    ]
    assert [run.run for run in reader.runs(limit=2, before_id=3)] == ["run-1", "run-0"]
    assert (reader.runs()[2].version, reader.runs()[2].settings_digest) == ("0.1.0", "abc")


def pages(reader: Reader, printer: str = "") -> list[EventRow]:
    found: list[EventRow] = []
    while page := reader.latest_events(limit=7, before_id=found[-1].id if found else None, printer=printer):
        found += page
    return found


def test_pages_by_id_meet_every_row_once(tmp_path: Path) -> None:
    run = Run()
    printers = ["anvil", "bramble", "cinder"]
    records = [run.trip(f"t-{number}", printer=printers[number % 3]) for number in range(50)]
    reader = record(tmp_path / "r.db", *records)
    assert [row.seq for row in pages(reader)] == list(range(50, 0, -1))
    assert [row.seq for row in pages(reader, printer="cinder")] == [seq for seq in range(50, 0, -1) if seq % 3 == 0]
    trips = [reader.trips(limit=20), reader.trips(limit=20, before_id=31), reader.trips(limit=20, before_id=11)]
    assert [trip.seq for page in trips for trip in page] == list(range(50, 0, -1))
    assert [row.seq for row in reader.events(after_id=40)] == list(range(41, 51))
    assert [row.seq for row in reader.events(since_wall_us=NEW_YEAR_US + 48)] == [48, 49, 50]
    assert [trip.printer for trip in reader.trips(printer="bramble", limit=2)] == ["bramble", "bramble"]
    assert (reader.trip(999), reader.trip("nothing of the kind")) == (None, None)
    assert len(reader.events(limit=0)) == 1
    assert len(reader.events(limit=10**9)) == 50


def test_a_reader_cannot_write_and_says_clearly_when_there_is_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(RecordUnreadable, match=r"no such file; it is made when the guard starts"):
        Reader(tmp_path / "r.db").trips()
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "r.db").write_bytes(b"a shopping list, not a database " * 100)
    with pytest.raises(RecordUnreadable, match="not a database"):
        Reader(tmp_path / "r.db").events()


UNSAFE = ["=1+1", "+cmd", "-2", "@sum", "\t=1", "a\nb", "\x1b[31mred", "'; drop table events; --", "nul\0byte", "half \udc80", "<b>"]


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("texts") / "r.db"


@settings(max_examples=50, deadline=None)
@given(texts=st.lists(st.one_of(st.sampled_from(UNSAFE), st.text(st.characters(exclude_categories=[]))), min_size=1, max_size=20))
def test_text_that_a_spreadsheet_terminal_or_database_might_obey_stays_data(texts: list[str], shared: Path) -> None:
    run = Run(uuid4().hex)
    reader = record(shared, *(run.event(sentence=text, printer=text, person=text) for text in texts))
    expected = [text.encode(errors="backslashreplace").decode().replace("\0", "\\x00") for text in texts]
    rows = reader.latest_events(len(texts))[::-1]
    assert [row.sentence for row in rows] == expected
    assert [row.printer for row in rows] == expected
    assert [row.person for row in rows] == expected


def test_records_and_a_recorder_can_be_made_without_loading_a_database_library(tmp_path: Path) -> None:
    code = (
        "import sys, time\nfrom pathlib import Path\nimport watchdog.recorder.records, watchdog.recorder.rows\n"
        "from watchdog.recorder.writer import Recorder\n"
        "recorder = Recorder(Path(sys.argv[1]), time.monotonic, lambda: 1)\n"
        "assert 'sqlalchemy' not in sys.modules and 'sqlite3' not in sys.modules\n"
        "recorder.start()\nassert recorder.close(30), recorder.health()\n"
        "assert 'sqlalchemy' in sys.modules\nassert not {'alembic', 'mako'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code, tmp_path / "r.db"], check=False, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
