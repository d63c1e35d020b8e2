"""Records to rows: one transaction a batch. What became of a trip is derived here, from the events that tell it."""

from collections.abc import Sequence
from math import isfinite
from typing import Any

import orjson
from sqlalchemy import Connection, insert, select, update

from watchdog.core.outputs import Event
from watchdog.core.values import Numbers
from watchdog.recorder.records import URGENT_KINDS, EventRecord, Record, StartRecord, StopRecord
from watchdog.recorder.tables import events, runs, trips

MISSING_READINGS = "no readings"
"""The check whose trips are a kind of their own: nothing hot was seen, nothing at all was."""

_OUTCOMES = {"cut confirmed": "confirmed", "cut proven": "proven", "cut not confirmed": "unconfirmed"}

_INSERT_EVENT = insert(events)

Row = dict[str, Any]


def prepare(record: Record) -> Row:
    """The row of a record. Raises TypeError or ValueError for one that cannot be stored whatever the database does."""
    row: Row = {"run": _clean(record.run), "seq": _whole(record.seq), "wall_us": _whole(record.wall_us)}
    if isinstance(record, EventRecord):
        return row | _event_row(record.event)
    row["engine_s"] = float(record.engine_s)
    if isinstance(record, StartRecord):
        about = {"version": record.version, "settings_digest": record.settings_digest, "boot_id": record.boot_id}
        return row | {name: _clean(text) for name, text in about.items()}
    return row | {"how": _clean(record.how)}


def store(connection: Connection, batch: Sequence[tuple[Record, Row]], *, skip_stored: bool) -> None:
    """Store a batch in one transaction; when this returns, it is committed.

    `skip_stored` leaves out what is there already: after an error nobody knows whether a commit had gone through.
    """
    with connection.begin():
        known = _stored_numbers(connection, batch) if skip_stored else set()
        event_rows: list[Row] = []
        for record, row in batch:
            if isinstance(record, StartRecord):
                _store_start(connection, row, skip_stored=skip_stored)
            elif isinstance(record, StopRecord):
                _store_stop(connection, row)
            elif (row["run"], row["seq"]) not in known:
                event_rows.append(row | {"trip_id": _trip_of(connection, row)})
        if event_rows:
            connection.execute(_INSERT_EVENT, event_rows)


def _event_row(event: Event) -> Row:
    return {
        "engine_s": float(event.at),
        "kind": _clean(event.kind),
        "level": _clean(event.level),
        "sentence": _clean(event.sentence),
        "printer": _clean(event.printer),
        "heater": _clean(event.heater),
        "check_name": _clean(event.check),
        "trip": _clean(event.trip),
        "relay": _clean(event.relay),
        "source": _clean(event.source),
        "person": _clean(event.person),
        "numbers": _numbers(event.numbers),
    }


def _clean(text: str) -> str:
    """Text that any database takes: no half characters, no NUL; nothing else is changed, escaping is for those who show it."""
    if not isinstance(text, str):
        raise TypeError(f"a text was expected, and {text!r} was found")
    return text.encode(errors="backslashreplace").decode().replace("\0", "\\x00")


def _whole(number: object) -> int:
    if not isinstance(number, int) or not -(2**63) <= number < 2**63:
        raise ValueError(f"a whole number of 64 bits was expected, and {number!r} was found")
    return number


def _numbers(numbers: Numbers) -> str:
    """As JSON; what JSON has no number for (inf, nan) is kept as a text."""
    exact = {_clean(name): float(value) for name, value in numbers.items()}
    return orjson.dumps({name: value if isfinite(value) else str(value) for name, value in exact.items()}).decode()


def _stored_numbers(connection: Connection, batch: Sequence[tuple[Record, Row]]) -> set[tuple[str, int]]:
    stored: set[tuple[str, int]] = set()
    for run in {row["run"] for _, row in batch}:
        numbers = [row["seq"] for _, row in batch if row["run"] == run]
        query = select(events.c.seq).where(events.c.run == run, events.c.seq.between(min(numbers), max(numbers)))
        stored.update((run, seq) for seq in connection.scalars(query))
    return stored


def _store_start(connection: Connection, row: Row, *, skip_stored: bool) -> None:
    if skip_stored and connection.scalar(select(runs.c.id).where(runs.c.run == row["run"])) is not None:
        return
    connection.execute(insert(runs).values(row))


def _store_stop(connection: Connection, row: Row) -> None:
    ended = {"ended_seq": row["seq"], "ended_wall_us": row["wall_us"], "ended_engine_s": row["engine_s"], "how": row["how"]}
    found = connection.execute(update(runs).where(runs.c.run == row["run"]).values(ended))
    if not found.rowcount:
        # Its start is not on record: the end is worth a row of its own.
        connection.execute(insert(runs).values({**row, **ended}))


def _trip_of(connection: Connection, row: Row) -> int | None:
    """The row of the trip that this event speaks of, made or brought up to date by it."""
    if not row["trip"]:
        return None
    kind = row["kind"]
    newest = select(trips.c.id, trips.c.reset_wall_us).where(trips.c.trip == row["trip"], trips.c.printer == row["printer"])
    found = connection.execute(newest.order_by(trips.c.id.desc()).limit(1)).first()
    if kind == "trip" and (found is None or found.reset_wall_us is not None):
        return _insert_trip(connection, row, _kind_of(row), row["sentence"])
    if found is None:
        # What became of a trip whose own record was lost is still worth a row.
        return _insert_trip_outcome(connection, row) if kind in URGENT_KINDS else None
    _update_outcome(connection, int(found.id), row)
    return int(found.id)


def _kind_of(row: Row) -> str:
    if row["person"]:
        return "by hand"
    return "missing readings" if row["check_name"] == MISSING_READINGS else "danger"


def _insert_trip_outcome(connection: Connection, row: Row) -> int:
    number = _insert_trip(connection, row, "unknown", "")
    _update_outcome(connection, number, row)
    return number


def _insert_trip(connection: Connection, row: Row, kind: str, reason: str) -> int:
    same = {name: row[name] for name in ("run", "seq", "wall_us", "engine_s", "trip", "printer", "heater", "check_name", "numbers")}
    inserted = connection.execute(insert(trips).values({**same, "kind": kind, "reason": reason})).inserted_primary_key
    assert inserted is not None
    return int(inserted[0])


def _update_outcome(connection: Connection, number: int, row: Row) -> None:
    """The first of each kind counts: later ones speak of repeated orders."""
    outcome = "reset" if row["kind"] == "reset" else _OUTCOMES.get(row["kind"])
    if outcome is None:
        return
    values = {f"{outcome}_wall_us": row["wall_us"], f"{outcome}_engine_s": row["engine_s"]}
    if outcome == "reset":
        values |= {"reset_by": row["person"], "reset_reason": row["sentence"]}
    connection.execute(update(trips).where(trips.c.id == number, trips.c[f"{outcome}_wall_us"].is_(None)).values(values))
