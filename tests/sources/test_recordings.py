import gzip
from pathlib import Path

import pytest

from watchdog.core.inputs import Reading
from watchdog.sources.recordings import Recording, RecordingError

HEADER = "time,printer,heater,temperature_c,target_c,duty,power_w\n"
TWO = HEADER + "2026-09-21T14:13:20.500Z,anvil,bed,22.0,0.0,0.0,\n2026-09-21T14:13:21.500Z,anvil,bed,22.1,60,1,\n"
READINGS = [Reading("anvil", "bed", 0.0, 22.0, 0.0, 0.0), Reading("anvil", "bed", 1.0, 22.1, 60.0, 1.0)]
LINES = (
    '{"time":"2026-09-21T14:13:20.500Z","printer":"anvil","heater":"bed","temperature_c":22.0,"target_c":0,"duty":0}\n'
    '{"time":"2026-09-21T14:13:21.500Z","printer":"anvil","heater":"bed","temperature_c":22.1,"target_c":60,"duty":1}\n'
)


def write(path: Path, content: str) -> Path:
    data = content.encode()
    path.write_bytes(gzip.compress(data) if path.suffix == ".gz" else data)
    return path


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", TWO),
        ("a.csv.gz", TWO),
        ("a.jsonl", LINES),
        ("a.jsonl.gz", LINES),
        ("a.txt", TWO),
        ("a.csv", "\ufeff" + TWO),
        ("a.csv", TWO.replace("\n", "\r\n")),
    ],
)
def test_each_kind_of_file_gives_the_same_readings(tmp_path: Path, name: str, content: str) -> None:
    recording = Recording(write(tmp_path / name, content))
    rows = list(recording.rows())
    assert [row[1] for row in rows] == READINGS
    assert rows[0][0] == "2026-09-21T14:13:20.500Z"
    assert recording.stamp_at(0.25, rows[0][0]) == "2026-09-21T14:13:20.750Z"
    assert recording.bytes_read == recording.size == (tmp_path / name).stat().st_size


def test_progress_moves_while_reading_lazily(tmp_path: Path) -> None:
    body = "".join(f"{second},anvil,bed,22.0,,,\n" for second in range(20_000))
    recording = Recording(write(tmp_path / "long.csv", HEADER + body))
    rows = recording.rows()
    next(rows)
    first = recording.bytes_read
    assert 0 < first < recording.size
    assert sum(1 for _ in rows) == 19_999
    assert recording.bytes_read == recording.size


def test_late_rows_and_a_clock_set_back_are_counted(tmp_path: Path) -> None:
    stamps = (100, 101, 102, 100, 103, 3, 4)
    body = "".join(f"{second},anvil,{heater},22.0,,,\n" for second in stamps for heater in ("bed", "hotend"))
    recording = Recording(write(tmp_path / "log.csv", HEADER + body))
    assert [row[1].at for row in recording.rows()] == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert (recording.tally.late, recording.clock.set_back) == (2, 1), "each row counts, also those that share a stamp"
    assert recording.stamp_at(5.0, "4") == "4"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.csv", b"", "line 1: the header is missing"),
        ("a.csv", b"time,printer\n", "line 1: column missing"),
        ("a.csv", HEADER.encode() + b"1,anvil,bed,22,0,0,0\n2,anvil\n", "line 3: 2 columns"),
        ("a.csv", HEADER.encode() + b"\xff,anvil,bed,22,0,0,0\n", "not UTF-8"),
        ("a.csv.gz", b"not gzip at all", "gzip file is damaged"),
        ("a.csv.gz", gzip.compress(TWO.encode())[:-20], "gzip file is damaged"),
        ("a.jsonl", b"[]\n", "line 1: not a JSON object"),
    ],
)
def test_a_bad_file_is_an_error_that_names_it(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=says) as raised:
        list(Recording(path).rows())
    assert str(path) in str(raised.value)


def test_a_missing_file_or_a_folder_is_an_error(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(RecordingError, match="cannot be read"):
            list(Recording(path).rows())


def test_a_log_that_broke_off_is_read_up_to_its_end(tmp_path: Path) -> None:
    recording = Recording(write(tmp_path / "cut.csv", TWO + "2026-09-21T14:1"))
    assert len(list(recording.rows())) == 2
    assert recording.tally.torn
    whole = Recording(write(tmp_path / "whole.csv", TWO.rstrip("\n")))
    assert len(list(whole.rows())) == 2
    assert not whole.tally.torn


def test_rows_before_the_damage_in_a_gzip_file_are_delivered(tmp_path: Path) -> None:
    body = "".join(f"{second},anvil,bed,{second % 100}.{second % 7},,,\n" for second in range(50_000))
    path = tmp_path / "cut.csv.gz"
    path.write_bytes(gzip.compress((HEADER + body).encode())[:-5000])
    rows = Recording(path).rows()
    seen = 0
    try:
        for _ in rows:
            seen += 1
    except RecordingError as problem:
        assert "damaged or cut off" in str(problem)  # noqa: PT017 - what came before it is what counts here
    else:
        pytest.fail("the damage went unnoticed")
    assert seen > 1000
