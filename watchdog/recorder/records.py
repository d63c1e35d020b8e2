"""What the guard hands over to be recorded, and how the recorder is. Plain values: importing this loads no database."""

from typing import Final, NamedTuple, TypeAlias

from watchdog.core.outputs import Event

NOT_OPEN_YET: Final = "the record is not open yet"
"""In the first second of a guard: it arms first, and opens its database then."""


class EventRecord(NamedTuple):
    """An event of the engine. `seq` counts all records of a run from 1, without gaps; `wall_us` is UTC in microseconds.

    A trip, what became of its cut, and its reset are derived from the events: nothing else need be told of them.
    """

    run: str
    seq: int
    wall_us: int
    event: Event


class StartRecord(NamedTuple):
    """A guard has started. `run` is a text that no other start shares; `engine_s` is monotonic engine time in seconds."""

    run: str
    seq: int
    wall_us: int
    engine_s: float
    version: str
    settings_digest: str
    boot_id: str = ""


class StopRecord(NamedTuple):
    """A guard ends of its own will. `how` is a short sentence for people. Without this record it was killed or lost power."""

    run: str
    seq: int
    wall_us: int
    engine_s: float
    how: str


Record: TypeAlias = EventRecord | StartRecord | StopRecord

URGENT_KINDS = frozenset({"trip", "cut confirmed", "cut proven", "cut not confirmed", "reset"})
"""The kinds of events that are stored first and dropped last."""


def is_urgent(record: Record) -> bool:
    """Starts, stops, and all that a trip's own row is made of."""
    return not isinstance(record, EventRecord) or getattr(record.event, "kind", "") in URGENT_KINDS


class RecorderHealth(NamedTuple):
    """How the recorder is.

    `ok` since engine time `since` (before the database was opened for the first time it is not); `stored`, `lost` and
    `waiting` count records; `last_error` is empty while ok; `notices` are sentences people should read, such as
    that a damaged file was moved aside.
    """

    ok: bool
    since: float
    stored: int
    lost: int
    waiting: int
    last_error: str
    notices: tuple[str, ...]
