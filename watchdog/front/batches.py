"""What clients push, cut into batches for the guard. No models: this is the path of readings."""

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

import orjson

from watchdog.front.body import decoded
from watchdog.front.problems import Problem
from watchdog.wire.front import MAX_LINE
from watchdog.wire.front import MOST_READINGS as MOST_AT_ONCE

BATCH_BYTES: Final = MAX_LINE * 3 // 4
"""Of the readings in a line to the guard: some room is left for the rest of it."""

ITEM_BYTES: Final = 2048
MOST_READINGS: Final = 10_000
"""In one body. What a body decodes to takes many times its room: eight megabytes of brackets would take gigabytes."""

MOST_VALUES: Final = 16 * MOST_READINGS
LINES: Final = ("application/jsonl", "application/x-ndjson")
_TOO_LONG: Final = f"a reading has at most {ITEM_BYTES} bytes"


class Batch(NamedTuple):
    """Items as they go to the guard, and the place that each has in what was pushed."""

    places: list[int]
    items: list[orjson.Fragment]


class Pushed:
    """One body. `count` items; `refused` are those that go to nobody, by place, with the reason."""

    def __init__(self, body: bytes | bytearray, media_type: str) -> None:
        """Raises Problem for too many readings, or a whole JSON body that cannot be read; a bad line is refused by itself."""
        _check_count(body, media_type)
        self.refused: list[dict[str, Any]] = []
        self.count = 0
        # All of a whole body is encoded again at once: its values take many times the room, and are let go with it.
        self._items = self._lines(body) if media_type in LINES else iter(list(self._values(decoded(body))))

    def batches(self) -> Iterator[Batch]:
        """In order. To be gone through once."""
        batch, size = Batch([], []), 0
        for place, item in self._items:
            if len(batch.places) == MOST_AT_ONCE or size + len(item) > BATCH_BYTES:
                yield batch
                batch, size = Batch([], []), 0
            batch.places.append(place)
            batch.items.append(orjson.Fragment(item))
            size += len(item) + 1
        if batch.places:
            yield batch

    def _values(self, value: Any) -> Iterator[tuple[int, bytes]]:  # noqa: ANN401 - any JSON
        for item in value if isinstance(value, list) else [value]:
            yield from self._one(item)

    def _lines(self, body: bytes | bytearray) -> Iterator[tuple[int, bytes]]:
        for line in body.split(b"\n"):
            if line.strip():
                if len(line) > 2 * ITEM_BYTES:
                    self._refuse(_TOO_LONG)
                    continue
                try:
                    item = orjson.loads(line)
                except orjson.JSONDecodeError:
                    self._refuse("this line is not JSON")
                else:
                    yield from self._one(item)

    def _one(self, item: Any) -> Iterator[tuple[int, bytes]]:  # noqa: ANN401 - any JSON
        if not isinstance(item, dict):
            self._refuse("a reading is a JSON object")
            return
        encoded = orjson.dumps(item)
        if len(encoded) > ITEM_BYTES:
            self._refuse(_TOO_LONG)
            return
        self.count += 1
        yield self.count - 1, encoded

    def _refuse(self, why: str) -> None:
        self.refused.append({"index": self.count, "why": why})
        self.count += 1


def _check_count(body: bytes | bytearray, media_type: str) -> None:
    """By counting marks, before anything is decoded."""
    if media_type in LINES:
        many = body.count(b"\n") > MOST_READINGS
    else:
        many = body.count(b"{") + body.count(b"[") > MOST_READINGS + 1 or body.count(b",") > MOST_VALUES
    if many:
        raise Problem("too-large", f"A body has at most {MOST_READINGS} readings.", most_readings=MOST_READINGS)
