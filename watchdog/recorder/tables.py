"""The tables of the record. Times come twice: `..._wall_us` is UTC in microseconds, `..._engine_s` monotonic seconds of the run."""

from typing import Any

from sqlalchemy import BigInteger, Column, Index, Integer, MetaData, String, Table, Text, UniqueConstraint
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import Double

APPLICATION_ID = 0x48575244
SCHEMA = 1
"""Marks in the header of an SQLite file: that it is ours, and which revision of the tables it holds."""

Whole = BigInteger().with_variant(Integer(), "sqlite")
Real: Double[float] = Double().with_variant(REAL(), "sqlite")
Name = String(200).with_variant(Text(), "sqlite")
"""For what is part of an index: some databases want to know how long it can be."""

metadata = MetaData()


def _id() -> Column[Any]:
    return Column("id", Whole, primary_key=True, autoincrement=True)


def _text(name: str) -> Column[Any]:
    return Column(name, Text, nullable=False, server_default="")


def _name(name: str) -> Column[Any]:
    return Column(name, Name, nullable=False, server_default="")


def _whole(name: str) -> Column[Any]:
    return Column(name, Whole, nullable=False)


def _real(name: str) -> Column[Any]:
    return Column(name, Real, nullable=False)


def _later(name: str) -> tuple[Column[Any], Column[Any]]:
    """When something happened that may never happen."""
    return Column(f"{name}_wall_us", Whole), Column(f"{name}_engine_s", Real)


_OPTIONS: dict[str, Any] = {"sqlite_strict": True, "sqlite_autoincrement": True}
# Ids are never used twice, so that paging by id and pruning by id stay true.

runs = Table(
    "runs",
    metadata,
    _id(),
    _name("run"),
    _whole("seq"),
    _whole("wall_us"),
    _real("engine_s"),
    _text("version"),
    _text("settings_digest"),
    _text("boot_id"),
    Column("ended_seq", Whole),
    *_later("ended"),
    _text("how"),
    UniqueConstraint("run", name="runs_run"),
    **_OPTIONS,
)

trips = Table(
    "trips",
    metadata,
    _id(),
    _name("run"),
    _whole("seq"),
    _whole("wall_us"),
    _real("engine_s"),
    _name("trip"),
    _text("kind"),
    _name("printer"),
    _text("heater"),
    _text("check_name"),
    _text("reason"),
    _text("numbers"),
    *_later("confirmed"),
    *_later("proven"),
    *_later("unconfirmed"),
    *_later("reset"),
    _text("reset_by"),
    _text("reset_reason"),
    Index("trips_trip", "trip", "printer"),
    **_OPTIONS,
)

events = Table(
    "events",
    metadata,
    _id(),
    _name("run"),
    _whole("seq"),
    _whole("wall_us"),
    _real("engine_s"),
    _text("kind"),
    _text("level"),
    _text("sentence"),
    _name("printer"),
    _text("heater"),
    _text("check_name"),
    _name("trip"),
    Column("trip_id", Whole),
    _text("relay"),
    _text("source"),
    _text("person"),
    _text("numbers"),
    UniqueConstraint("run", "seq", name="events_run_seq"),
    **_OPTIONS,
)
Index("events_trip_id", events.c.trip_id, sqlite_where=events.c.trip_id.is_not(None))
