"""What the answers look like: for the OpenAPI document, and as the shape that answers from the record are given."""

from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field

from watchdog.recorder.rows import EventRow, Moment, TripRow

State = Literal["protected", "tripped", "not protected"]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EARLIEST_US, _LATEST_US = -62_135_596_800_000_000, 253_402_300_799_000_000


def time_text(wall_us: int) -> str:
    """RFC 3339 in UTC, with its offset. What no calendar can hold (a damaged record) becomes its first or last moment."""
    return (EPOCH + timedelta(microseconds=min(max(wall_us, _EARLIEST_US), _LATEST_US))).isoformat(timespec="microseconds")


def microseconds(moment: datetime | None) -> int | None:
    """Microseconds since 1970."""
    return None if moment is None else (moment - EPOCH) // timedelta(microseconds=1)


def _in_reach(moment: datetime) -> datetime:
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise ValueError("a year from 1 to 9999 in UTC is needed") from None


Instant = Annotated[AwareDatetime, AfterValidator(_in_reach), Field(description="RFC 3339 with an offset: 2026-11-25T14:00:00+00:00")]


class Closed(BaseModel):
    """An answer with exactly these members."""

    model_config = ConfigDict(extra="forbid")


class Open(BaseModel):
    """What the guard says; it may say more than is described here."""

    model_config = ConfigDict(extra="allow")


class When(Closed):
    """A moment."""

    time: str = Field(description="RFC 3339 in UTC", json_schema_extra={"format": "date-time"})
    engine_s: float = Field(description="Monotonic seconds of the run of the guard: differences are exact")


class Event(Closed):
    """Something that happened. Texts come as they were recorded: escape them for the place where you show them."""

    id: int
    run: str
    seq: int
    at: When
    kind: str
    level: str = Field(description="info, warning or alarm")
    sentence: str
    printer: str = Field(description="empty: not of one printer")
    heater: str
    check: str
    trip: str
    trip_id: int | None = Field(description="the id of its trip on record")
    relay: str
    source: str
    person: str
    numbers: dict[str, float | None] = Field(description="units are part of the names; null stands for what is not finite")


class Trip(Closed):
    """One trip and what became of it. Heater and check are the first-out: what demanded the cut first."""

    id: int
    run: str
    seq: int
    at: When
    trip: str
    kind: str = Field(description="danger, missing readings, by hand, or unknown")
    printer: str
    heater: str
    check: str
    reason: str
    numbers: dict[str, float | None]
    outcome: Literal["proven", "confirmed", "not confirmed", "open"] = Field(description="the best that is known of the cut")
    confirmed: When | None
    proven: When | None
    unconfirmed: When | None
    reset: When | None
    reset_by: str
    reset_reason: str


class Events(Closed):
    """A page, the newest first."""

    events: list[Event]
    next: str | None = Field(description="the address of the next page, of older ones; null on the last")


class Trips(Closed):
    """A page, the newest first."""

    trips: list[Trip]
    next: str | None = Field(description="the address of the next page, of older ones; null on the last")


class TripStory(Closed):
    """A trip with the events that tell of it, in their order."""

    trip: Trip
    events: list[Event]


def event_json(row: EventRow) -> dict[str, Any]:
    """As `Event` describes it."""
    return row._asdict() | {"at": _when(row.at)}


def trip_json(row: TripRow) -> dict[str, Any]:
    """As `Trip` describes it."""
    moments = {name: _when(getattr(row, name)) for name in ("at", "confirmed", "proven", "unconfirmed", "reset")}
    return row._asdict() | moments | {"outcome": row.outcome}


def _when(moment: Moment | None) -> dict[str, Any] | None:
    return None if moment is None else {"time": time_text(moment.wall_us), "engine_s": moment.engine_s}
