"""Recorded logs: plain or gzip, CSV or JSON Lines, read lazily."""

import gzip
import io
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, cast

from watchdog.sources.log_time import StampReader, stamp_at
from watchdog.wire.log_clock import LogClock
from watchdog.wire.log_format import LogError, LogRow, Tally, csv_rows
from watchdog.wire.log_lines import json_rows


class RecordingError(Exception):
    """A recording that cannot be read; the text names the file, the line, what was found and what is allowed."""


class Recording:
    """One log file. `.gz` is unpacked on the way; `.jsonl` is JSON Lines; anything else is CSV.

    After (and while) `rows` runs, `tally` tells of unreadable cells and late rows, `clock.set_back` of clocks set back.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.tally = Tally()
        self.clock = LogClock()
        self.size = 0
        """Bytes on disk, for a progress bar; known once `rows` has begun."""
        self._stamps = StampReader()
        self._raw: BinaryIO | None = None

    @property
    def bytes_read(self) -> int:
        """How far into the file the reading has come, 0 to `size`."""
        return self.size if self._raw is None or self._raw.closed else self._raw.tell()

    def rows(self) -> Iterator[LogRow]:
        """Each row's stamp as it stands in the log, and its reading with engine time. Raises RecordingError."""
        try:
            with self.path.open("rb") as raw:
                self._raw = raw
                torn_end = self._measure(raw)
                yield from self._parsed(raw, torn_end=torn_end)
        except LogError as problem:
            raise RecordingError(f"{self.path}, {problem}") from problem
        except UnicodeDecodeError as problem:
            raise RecordingError(f"{self.path}, after line {self.tally.line()}: not UTF-8 text") from problem
        except (EOFError, zlib.error, gzip.BadGzipFile) as problem:
            raise RecordingError(
                f"{self.path}, after line {self.tally.line()}: the gzip file is damaged or cut off ({problem})"
            ) from problem
        except OSError as problem:
            raise RecordingError(f"{self.path}: cannot be read: {problem.strerror or problem}") from problem

    def stamp_at(self, engine_s: float, like: str) -> str:
        """An engine time in the log's own manner of writing times, for moments between its rows (a deadline)."""
        return stamp_at(engine_s + self.clock.offset_s, like)

    def _measure(self, raw: BinaryIO) -> bool:
        """Note the size; true if the last line lacks its end."""
        self.size = raw.seek(0, io.SEEK_END)
        if self.size == 0 or self.path.suffix == ".gz":
            raw.seek(0)
            return False
        raw.seek(-1, io.SEEK_END)
        torn_end = raw.read(1) != b"\n"
        raw.seek(0)
        return torn_end

    def _parsed(self, raw: BinaryIO, *, torn_end: bool) -> Iterator[LogRow]:
        packed = self.path.suffix == ".gz"
        kind = self.path.with_suffix("").suffix if packed else self.path.suffix
        data = cast("BinaryIO", gzip.GzipFile(fileobj=raw)) if packed else raw
        if kind == ".jsonl":
            return json_rows(data, self._engine_time, self.tally, torn_end=torn_end)
        text = io.TextIOWrapper(data, encoding="utf-8-sig", newline="")
        return csv_rows(text, self._engine_time, self.tally, torn_end=torn_end)

    def _engine_time(self, stamp: str) -> float | None:
        return self.clock.engine_time(self._stamps.seconds(stamp))
