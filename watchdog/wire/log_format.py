"""The log format: lines to readings and back.

CSV with a header, columns in any order, or JSON Lines with the same keys. `time` is ISO 8601 with Z or an offset, or seconds;
an empty cell was not reported; a row without a heater is the metered power of the whole printer; the optional column
`sensor` names which of a heater's sensors spoke.
"""

import csv
from collections.abc import Callable, Iterable, Iterator
from operator import itemgetter
from typing import Final, TypeAlias

import orjson

from watchdog.core.inputs import Reading
from watchdog.wire.log_cells import BOUNDS, Cells
from watchdog.wire.plain_text import printable

COLUMNS: Final = ("time", "printer", "heater", "temperature_c", "target_c", "duty", "power_w")
SENSOR: Final = "sensor"
_ALLOWED: Final = frozenset((*COLUMNS, SENSOR))

LogRow: TypeAlias = tuple[str, Reading]
"""The stamp as it stands in the log, and the reading with its engine time."""

EngineTime: TypeAlias = Callable[[str], float | None]
"""Stamp to engine seconds, never decreasing; None for a late row, which is dropped. Raises ValueError for no stamp at all."""


class LogError(ValueError):
    """A log that does not have the format: which line, what was found, what is allowed."""

    def __init__(self, line: int, problem: str) -> None:
        super().__init__(f"line {line}: {problem}")
        self.line = line
        self.problem = problem


class Tally:
    """What was met on the way through a log: late rows, cells that could not be read, and the first of them for people."""

    __slots__ = ("first_unreadable", "late", "line", "torn", "unreadable")

    def __init__(self) -> None:
        self.unreadable = 0
        self.late = 0
        """Rows dropped as late; the clock itself counts stamps, which several rows may share."""
        self.first_unreadable = ""
        self.line: Callable[[], int] = int
        self.torn = False
        """True when the last line broke off in the middle, as after a power cut."""

    def note(self, column: str, found: object) -> None:
        """Count a cell that could not be read."""
        self.unreadable += 1
        if not self.first_unreadable:
            low, high = BOUNDS[column]
            allowed = f"allowed: a plain number from {low:g} to {high:g}"
            self.first_unreadable = f'line {self.line()}: {column} is "{printable(str(found), 40)}", taken as not reported; {allowed}'


def csv_rows(lines: Iterable[str], engine_time: EngineTime, tally: Tally, *, torn_end: bool = False) -> Iterator[LogRow]:
    """The rows of a CSV log, lazily. `torn_end`: the last line has no line end, so that it may be incomplete.

    Raises LogError for a bad header, a wrong number of columns, a bad time or a missing printer. Value cells that cannot
    be read count as not reported and are tallied: real recordings hold garbage.
    """
    lines = iter(lines)
    table = csv.reader(lines, strict=True)
    tally.line = lambda: table.line_num
    try:
        yield from _csv_body(table, next(table, []), engine_time, tally)
    except csv.Error as problem:
        error = LogError(table.line_num, f"not CSV: {problem}")
        if not torn_end or any(True for _ in lines):
            raise error from problem
        tally.torn = True
    except LogError as error:
        if error.line == 1 or not torn_end or any(True for _ in lines):
            raise
        tally.torn = True


def _csv_body(table: "Iterator[list[str]]", header: list[str], engine_time: EngineTime, tally: Tally) -> Iterator[LogRow]:
    pick = _picker(header)
    sensor_at = header.index(SENSOR) if SENSOR in header else -1
    width = len(header)
    temperatures, targets, duties, powers = (Cells(column, tally.note) for column in BOUNDS)
    new = tuple.__new__
    last = ""
    at: float | None = None
    sensor = ""
    for row in table:
        if len(row) != width:
            if row:
                raise LogError(tally.line(), f"{len(row)} columns, but the header has {width}")
            continue
        stamp, printer, heater, temperature, target, duty, power = pick(row) if pick else row[:7]
        if stamp != last:
            at = _time(engine_time, stamp, tally)
            last = stamp
        if at is None:
            tally.late += 1
            continue
        if not printer:
            raise LogError(tally.line(), "the printer is missing; every row names one")
        if sensor_at >= 0:
            sensor = row[sensor_at]
        values = temperatures[temperature], targets[target], duties[duty], powers[power]
        # As Reading(...), which would take twice the time for the same value.
        yield stamp, new(Reading, (printer, heater, at, *values, sensor, False, False))


def _time(engine_time: EngineTime, stamp: str, tally: Tally) -> float | None:
    try:
        return engine_time(stamp)
    except ValueError as problem:
        raise LogError(tally.line(), str(problem)) from problem


def _picker(header: list[str]) -> "Callable[[list[str]], tuple[str, ...]] | None":
    """How a row's cells are put into the usual order; None if they stand in it. Raises LogError for a bad header."""
    if not header:
        raise LogError(1, f"the header is missing; a log must begin with {','.join(COLUMNS)}")
    unknown = [name for name in header if name not in _ALLOWED]
    missing = [name for name in COLUMNS if name not in header]
    twice = sorted({name for name in header if header.count(name) > 1})
    for names, problem in ((unknown, "unknown column"), (twice, "column given twice"), (missing, "column missing")):
        if names:
            shown = ", ".join(f'"{printable(name, 40)}"' for name in names[:5])
            raise LogError(1, f"{problem} {shown}; the header must name {', '.join(COLUMNS)} in any order, and may name {SENSOR}")
    if tuple(header[:7]) == COLUMNS:
        return None
    return itemgetter(*(header.index(name) for name in COLUMNS))


class _Line:
    """Where csv.writer writes to: it hands the line straight back."""

    def write(self, line: str) -> str:
        return line


_LINES = csv.writer(_Line(), lineterminator="\n")


def header_line(*, sensors: bool = False) -> str:
    """The header of a CSV log, with its line end; `sensors` adds the optional column."""
    return ",".join((*COLUMNS, SENSOR) if sensors else COLUMNS) + "\n"


def format_row(stamp: str, reading: Reading, *, sensors: bool = False) -> str:
    """One line of a CSV log, with its line end.

    CSV has no way to say that a target is unknown: JSON Lines does. A retained temperature was never fresh and is left out.
    """
    _, _, _, temperature, target, duty, power, sensor, _, retained = reading
    cells = [stamp, reading.printer, reading.heater, None if retained else temperature, target, duty, power]
    if sensors:
        cells.append(sensor)
    # writerow hands back what the write of its file handed back
    line: str = _LINES.writerow(cells)
    return line


def format_json_row(stamp: str, reading: Reading) -> bytes:
    """One line of a JSON Lines log, with its line end; null stands for an unknown target, as in a message."""
    row: dict[str, str | float | None] = {"time": stamp, "printer": reading.printer, "heater": reading.heater}
    for name in BOUNDS:
        value = getattr(reading, name)
        if value is not None and not (reading.retained and name == "temperature_c"):
            row[name] = value
    if reading.target_unknown:
        row["target_c"] = None
    if reading.sensor:
        row[SENSOR] = reading.sensor
    return orjson.dumps(row, option=orjson.OPT_APPEND_NEWLINE)
