"""What is read back from the record: plain values. Importing this loads no database."""

from collections.abc import Mapping
from math import isfinite
from typing import Any, NamedTuple

import orjson

from watchdog.core.values import Numbers


class Moment(NamedTuple):
    """When something happened: UTC in microseconds, and monotonic engine seconds of the run."""

    wall_us: int
    engine_s: float


class EventRow(NamedTuple):
    """One event. `trip_id` is the id of the row of its trip."""

    id: int
    run: str
    seq: int
    at: Moment
    kind: str
    level: str
    sentence: str
    printer: str
    heater: str
    check: str
    trip: str
    trip_id: int | None
    relay: str
    source: str
    person: str
    numbers: Numbers


class TripRow(NamedTuple):
    """One trip and what became of it. Heater and check are the first-out: what demanded the cut first.

    `kind` is "danger", "missing readings", "by hand", or "unknown" when the record of the trip itself was lost.
    """

    id: int
    run: str
    seq: int
    at: Moment
    trip: str
    kind: str
    printer: str
    heater: str
    check: str
    reason: str
    numbers: Numbers
    confirmed: Moment | None
    proven: Moment | None
    unconfirmed: Moment | None
    reset: Moment | None
    reset_by: str
    reset_reason: str

    @property
    def outcome(self) -> str:
        """The best that is known of the cut: "proven", "confirmed", "not confirmed" or "open"."""
        best = (("proven", self.proven), ("confirmed", self.confirmed), ("not confirmed", self.unconfirmed))
        return next((name for name, moment in best if moment is not None), "open")


class TripStory(NamedTuple):
    """A trip with the events that tell of it, in their order."""

    trip: TripRow
    events: list[EventRow]


class RunRow(NamedTuple):
    """A start of the guard and how it ended. `broken_off`: a later start is on record, and no end of this one."""

    id: int
    run: str
    seq: int
    at: Moment
    version: str
    settings_digest: str
    boot_id: str
    ended: Moment | None
    how: str
    broken_off: bool


def event_row(row: Mapping[Any, Any]) -> EventRow:
    """From a row of the table of events."""
    same = _same(row, "kind level sentence trip_id relay source person")
    return EventRow(**_begin(row), **_subject(row), **same, numbers=_numbers(row["numbers"]))


def trip_row(row: Mapping[Any, Any]) -> TripRow:
    """From a row of the table of trips."""
    later: dict[str, Any] = {name: _later(row, name) for name in ("confirmed", "proven", "unconfirmed", "reset")}
    same = _same(row, "kind reason reset_by reset_reason")
    return TripRow(**_begin(row), **_subject(row), **same, **later, numbers=_numbers(row["numbers"]))


def run_row(row: Mapping[Any, Any], *, newest: bool) -> RunRow:
    """From a row of the table of runs."""
    ended = _later(row, "ended")
    return RunRow(**_begin(row), **_same(row, "version settings_digest boot_id how"), ended=ended, broken_off=ended is None and not newest)


def _same(row: Mapping[Any, Any], names: str) -> dict[str, Any]:
    return {name: row[name] for name in names.split()}


def _begin(row: Mapping[Any, Any]) -> dict[str, Any]:
    return _same(row, "id run seq") | {"at": _moment(row)}


def _subject(row: Mapping[Any, Any]) -> dict[str, Any]:
    return _same(row, "printer heater trip") | {"check": row["check_name"]}


def _moment(row: Mapping[Any, Any]) -> Moment:
    return Moment(int(_number(row["wall_us"])), _number(row["engine_s"]))


def _later(row: Mapping[Any, Any], name: str) -> Moment | None:
    wall_us = row[f"{name}_wall_us"]
    return None if wall_us is None else Moment(int(_number(wall_us)), _number(row[f"{name}_engine_s"]))


def _number(value: object) -> float:
    """A flipped bit on a disk must not keep the rest of a page from being shown."""
    return value if isinstance(value, int | float) and isfinite(value) else 0.0


def _numbers(text: object) -> Numbers:
    """As they were recorded, "inf" and "nan" included; none when the text is damaged."""
    try:
        return {str(name): float(value) for name, value in orjson.loads(str(text) or "{}").items()}
    except (ValueError, TypeError, AttributeError):
        return {}
