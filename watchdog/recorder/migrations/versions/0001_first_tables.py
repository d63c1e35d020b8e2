"""The first tables. Written out, and not taken from the code: it must stay what it was."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.sqlite import REAL

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

APPLICATION_ID = 0x48575244
OPTIONS: dict[str, Any] = {"sqlite_strict": True, "sqlite_autoincrement": True}


def _whole(name: str, *, nullable: bool = False) -> "sa.Column[Any]":
    return sa.Column(name, sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=nullable)


def _real(name: str, *, nullable: bool = False) -> "sa.Column[Any]":
    return sa.Column(name, sa.Double().with_variant(REAL(), "sqlite"), nullable=nullable)


def _name(name: str) -> "sa.Column[Any]":
    return sa.Column(name, sa.String(200).with_variant(sa.Text(), "sqlite"), nullable=False, server_default="")


def _text(name: str) -> "sa.Column[Any]":
    return sa.Column(name, sa.Text(), nullable=False, server_default="")


def _begin() -> "list[sa.Column[Any]]":
    number = sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True, autoincrement=True)
    return [number, _name("run"), _whole("seq"), _whole("wall_us"), _real("engine_s")]


def _later(name: str) -> "list[sa.Column[Any]]":
    return [_whole(f"{name}_wall_us", nullable=True), _real(f"{name}_engine_s", nullable=True)]


def upgrade() -> None:
    op.create_table(
        "runs",
        *_begin(),
        *map(_text, ("version", "settings_digest", "boot_id")),
        _whole("ended_seq", nullable=True),
        *_later("ended"),
        _text("how"),
        sa.UniqueConstraint("run", name="runs_run"),
        **OPTIONS,
    )
    op.create_table(
        "trips",
        *_begin(),
        _name("trip"),
        _text("kind"),
        _name("printer"),
        *map(_text, ("heater", "check_name", "reason", "numbers")),
        *(column for name in ("confirmed", "proven", "unconfirmed", "reset") for column in _later(name)),
        *map(_text, ("reset_by", "reset_reason")),
        **OPTIONS,
    )
    op.create_index("trips_trip", "trips", ["trip", "printer"])
    op.create_table(
        "events",
        *_begin(),
        *map(_text, ("kind", "level", "sentence")),
        _name("printer"),
        *map(_text, ("heater", "check_name")),
        _name("trip"),
        _whole("trip_id", nullable=True),
        *map(_text, ("relay", "source", "person", "numbers")),
        sa.UniqueConstraint("run", "seq", name="events_run_seq"),
        **OPTIONS,
    )
    op.create_index("events_trip_id", "events", ["trip_id"], sqlite_where=sa.text("trip_id IS NOT NULL"))
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        op.execute("PRAGMA user_version = 1")


def downgrade() -> None:
    raise NotImplementedError("the record is never taken apart; put an earlier copy of the file in its place")
