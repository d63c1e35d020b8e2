from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.sources.log_time import StampReader, stamp_at

READER = StampReader()
MOMENTS = st.datetimes(min_value=datetime(1970, 1, 2), max_value=datetime(2120, 1, 1))  # noqa: DTZ001 - the zone is put in below


@given(MOMENTS, st.sampled_from(["seconds", "milliseconds", "microseconds"]), st.sampled_from("T "))
def test_utc_stamps_agree_with_the_standard_library(moment: datetime, precision: str, between: str) -> None:
    text = moment.replace(tzinfo=UTC).isoformat(between, precision).replace("+00:00", "Z")
    expected = datetime.fromisoformat(text).timestamp()
    for _ in range(2):
        assert READER.seconds(text) == pytest.approx(expected, abs=1e-6)


@given(MOMENTS, st.integers(-14 * 60, 14 * 60))
def test_offsets_are_honoured(moment: datetime, minutes: int) -> None:
    aware = moment.replace(tzinfo=timezone(timedelta(minutes=minutes)))
    assert READER.seconds(aware.isoformat()) == pytest.approx(aware.timestamp(), abs=1e-6)


@pytest.mark.parametrize(
    ("text", "expected"), [("0", 0.0), ("12.5", 12.5), ("-3", -3.0), ("1790000000.25", 1790000000.25), ("1e3", 1000.0)]
)
def test_plain_seconds_are_taken_as_they_are(text: str, expected: float) -> None:
    assert READER.seconds(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Z",
        "noon",
        "nan",
        "inf",
        "1e999",
        "1_0",
        "2026-09-21T14:13:61Z",
        "2026-09-31T14:13:20Z",
        "2026-09-21T24:61:20Z",
        "2026-09-21T14:13:2_0Z",
        "2026-09-21T14:13: 5Z",
        "2026-09-21T14:13:\u0662\u0660Z",
        "2026-09-21T14:13:20ZZ",
        "\x1b[2J",
        "2026-09-21T14:13:-5Z",
    ],
)
def test_anything_else_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(ValueError, match="must be ISO 8601 with Z or an offset, or seconds") as raised:
        READER.seconds(text)
    assert str(raised.value).isprintable()


@pytest.mark.parametrize("text", ["2026-09-21T14:13:20", "2026-09-21", "2026-09-21 14:13:20.5"])
def test_a_time_without_a_zone_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no zone"):
        READER.seconds(text)


@given(st.integers(0, 4_000_000_000_000))
def test_a_moment_is_written_in_the_manner_of_its_log(milliseconds: int) -> None:
    moment = milliseconds / 1000
    for like in ("2026-09-21T14:13:20Z", "12.5"):
        assert READER.seconds(stamp_at(moment, like)) == pytest.approx(moment, abs=1e-3)
    assert stamp_at(100.0, "7") == "100"
    assert stamp_at(0.5, "2026-09-21T14:13:20Z") == "1970-01-01T00:00:00.500Z"


def test_many_distinct_stamps_do_not_pile_up() -> None:
    reader = StampReader()
    for minute in range(60_000):
        reader.seconds(stamp_at(minute * 60.0, "Z"))
    for micro in range(70_000):
        reader.seconds(f"2026-09-21T14:13:20.{micro:06}Z")
    assert len(reader._minutes) + len(reader._seconds) < 120_000
