"""JSON Lines logs: one object a line, with the keys of the CSV columns."""

from collections.abc import Iterable, Iterator
from typing import Any

import orjson

from watchdog.core.inputs import Reading
from watchdog.wire.log_cells import BOUNDS, Cells
from watchdog.wire.log_format import COLUMNS, SENSOR, EngineTime, LogError, LogRow, Tally
from watchdog.wire.plain_text import printable

_KEYS = frozenset((*COLUMNS, SENSOR))


def json_rows(lines: Iterable[bytes], engine_time: EngineTime, tally: Tally, *, torn_end: bool = False) -> Iterator[LogRow]:
    """The rows of a JSON Lines log, lazily; empty lines are passed over. As `csv_rows`, and a null target is unknown."""
    number = 0
    tally.line = lambda: number
    reader = _Rows(tally, engine_time)
    source = iter(lines)
    for line in source:
        number += 1
        if not line.strip():
            continue
        try:
            row = reader.row(line, number)
        except LogError:
            if not torn_end or any(True for _ in source):
                raise
            tally.torn = True
            return
        if row is not None:
            yield row


class _Rows:
    def __init__(self, tally: Tally, engine_time: EngineTime) -> None:
        self._tally = tally
        self._engine_time = engine_time
        self._cells = {column: Cells(column, tally.note) for column in BOUNDS}
        self._last = ""
        self._at: float | None = None

    def row(self, line: bytes, number: int) -> LogRow | None:
        """One line; None for a late one. Raises LogError."""
        row = _object(line, number)
        time = row.get("time")
        stamp = time if type(time) is str else "" if type(time) not in {int, float} else repr(time)
        if not stamp:
            raise LogError(number, "time is missing; it must be ISO 8601 with Z or an offset, or seconds")
        if stamp != self._last:
            try:
                self._at = self._engine_time(stamp)
            except ValueError as problem:
                raise LogError(number, str(problem)) from problem
            self._last = stamp
        printer = _name(row, "printer", number)
        if not printer:
            raise LogError(number, "the printer is missing; every row names one")
        if self._at is None:
            self._tally.late += 1
            return None
        heater, sensor = _name(row, "heater", number), _name(row, SENSOR, number)
        temperature, target, duty, power = [self._value(row, column) for column in BOUNDS]
        unknown = "target_c" in row and row["target_c"] is None
        return stamp, Reading(printer, heater, self._at, temperature, target, duty, power, sensor, unknown)

    def _value(self, row: dict[str, Any], column: str) -> float | None:
        value = row.get(column)
        if value is None:
            return None
        if type(value) is not float and type(value) is not int:
            self._tally.note(column, value)
            return None
        return self._cells[column].judge(value, value)


def _object(line: bytes, number: int) -> dict[str, Any]:
    try:
        row = orjson.loads(line)
    except ValueError as problem:
        raise LogError(number, f"not JSON: {printable(line)}") from problem
    if type(row) is not dict:
        raise LogError(number, f"not a JSON object: {printable(line)}")
    if not row.keys() <= _KEYS:
        unknown = ", ".join(f'"{printable(key, 40)}"' for key in list(row.keys() - _KEYS)[:5])
        raise LogError(number, f"unknown key {unknown}; allowed are {', '.join((*COLUMNS, SENSOR))}")
    return row


def _name(row: dict[str, Any], key: str, number: int) -> str:
    value = row.get(key)
    if value is None:
        return ""
    if type(value) is not str:
        raise LogError(number, f"{key} must be text, found {printable(str(value), 40)}")
    return value
