"""The count of starts that did not end well. Row F44."""

from pathlib import Path

import pytest

from watchdog.guard.starts import NAME, Starts


def test_deaths_in_a_row_are_counted_and_a_good_end_begins_anew(tmp_path: Path) -> None:
    assert [Starts(tmp_path).died_with("a") for _ in range(4)] == [0, 1, 2, 3]
    last = Starts(tmp_path)
    assert last.died_with("a") == 4
    last.well()
    assert not (tmp_path / NAME).exists()
    assert Starts(tmp_path).died_with("a") == 0


def test_other_settings_begin_at_none_for_nobody_knows_yet_what_they_do(tmp_path: Path) -> None:
    for _ in range(3):
        Starts(tmp_path).died_with("a")
    assert Starts(tmp_path).died_with("b") == 0
    assert Starts(tmp_path).died_with("b") == 1


def test_a_death_before_the_settings_were_read_counts(tmp_path: Path) -> None:
    for _ in range(3):
        Starts(tmp_path)
    assert Starts(tmp_path).died_with("a") == 3


@pytest.mark.parametrize("content", [b"", b"many a\n", b"\xff\xfe\0", b"-4 a", b"3" * 10_000, b"\n \n"])
def test_a_damaged_file_counts_as_no_death_and_stops_nobody(tmp_path: Path, content: bytes) -> None:
    (tmp_path / NAME).write_bytes(content)
    assert Starts(tmp_path).died_with("a") <= 0 or content.startswith(b"3")
    assert Starts(tmp_path).died_with("a") >= 1


def test_a_place_that_cannot_be_written_stops_nobody(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / NAME).mkdir()
    starts = Starts(tmp_path)
    assert starts.died_with("a") == 0
    starts.well()
    assert "is not counted" in caplog.text
    assert "cannot be removed" in caplog.text
