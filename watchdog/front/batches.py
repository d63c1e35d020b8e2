"""What clients push, cut into batches for the guard. No models: this is the path of readings."""

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

import orjson

from watchdog.front.body import decoded

BATCH: Final = 500
BATCH_BYTES: Final = 200 * 1024
"""A line to the guard has at most 256 KiB."""

ITEM_BYTES: Final = 2048
LINES: Final = ("application/jsonl", "application/x-ndjson")


class Batch(NamedTuple):
    """Items as they go to the guard, and the place that each has in what was pushed."""

    places: list[int]
    items: list[orjson.Fragment]


class Pushed:
    """One body. `count` items; `refused` are those that go to nobody, by place, with the reason."""

    def __init__(self, body: bytes | bytearray, media_type: str) -> None:
        """Raises Problem when a whole JSON body cannot be read; a line that cannot be read is refused by itself."""
        self.refused: list[dict[str, Any]] = []
        self.count = 0
        # All of a whole body is encoded again at once: its values take many times the room, and are let go with it.
        self._items = self._lines(body) if media_type in LINES else iter(list(self._values(decoded(body))))

    def batches(self) -> Iterator[Batch]:
        """In order. To be gone through once."""
        batch, size = Batch([], []), 0
        for place, item in self._items:
            if len(batch.places) == BATCH or size + len(item) > BATCH_BYTES:
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
            self._refuse(f"a reading has at most {ITEM_BYTES} bytes")
            return
        self.count += 1
        yield self.count - 1, encoded

    def _refuse(self, why: str) -> None:
        self.refused.append({"index": self.count, "why": why})
        self.count += 1
