"""Stamps of a log, ISO 8601 or seconds, to seconds and back."""

import re
from datetime import UTC, datetime
from typing import Final

from watchdog.wire.numbers import decimal
from watchdog.wire.plain_text import printable

MOST_KEPT: Final = 50_000
LONGEST_KEPT: Final = 6
"""Characters of seconds: up to milliseconds they come round again, finer ones do not."""

_USUAL = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:")
_SECONDS = re.compile(r"[0-5][0-9](?:\.[0-9]{1,9})?")


class _Minutes(dict[str, float]):
    """The beginning of a stamp in UTC, up to its minute, to seconds since 1970."""

    def __missing__(self, text: str) -> float:
        if not _USUAL.fullmatch(text):
            raise ValueError(text)
        seconds = datetime.fromisoformat(text + "00+00:00").timestamp()
        if len(self) >= MOST_KEPT:
            self.clear()
        self[text] = seconds
        return seconds


YEAR_5138_S = 1e11
"""Milliseconds since 1970 are above this since 1973."""


class _Seconds(dict[str, float]):
    """The end of a stamp, seconds and their fraction, to a number."""

    def __missing__(self, text: str) -> float:
        if not _SECONDS.fullmatch(text):
            raise ValueError(text)
        seconds = float(text)
        if len(text) <= LONGEST_KEPT:
            self[text] = seconds
        return seconds


class StampReader:
    """Reads stamps: seconds, or ISO 8601 with Z or an offset (then seconds since 1970). Keeps what repeats."""

    def __init__(self) -> None:
        self._minutes = _Minutes()
        self._seconds = _Seconds()

    def seconds(self, stamp: str) -> float:
        """Raises ValueError with a plain sentence for anything else, a time without a zone included."""
        if stamp[-1:] == "Z":
            try:
                return self._minutes[stamp[:17]] + self._seconds[stamp[17:-1]]
            except ValueError:
                return _any_iso(stamp)
        number = decimal(stamp)
        if number is None:
            return _any_iso(stamp)
        if number >= YEAR_5138_S:
            raise ValueError(f'time "{printable(stamp, 40)}" is too large for seconds; if these are milliseconds, divide them by 1000')
        return number


def _any_iso(stamp: str) -> float:
    try:
        moment = datetime.fromisoformat(stamp)
    except ValueError as problem:
        raise _bad(stamp) from problem
    if moment.tzinfo is None:
        raise ValueError(f'time "{printable(stamp, 40)}" has no zone; end it in Z for UTC or in an offset such as +02:00')
    return moment.timestamp()


def _bad(stamp: str) -> ValueError:
    return ValueError(f'time "{printable(stamp, 40)}" is not a time; it must be ISO 8601 with Z or an offset, or seconds')


def stamp_at(seconds: float, like: str) -> str:
    """`seconds` written in the manner of the stamp `like`: ISO 8601 UTC to the millisecond, or plain seconds."""
    if decimal(like) is None:
        return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return f"{seconds:.3f}".rstrip("0").rstrip(".")
