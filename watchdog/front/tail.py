"""Follows the end of the record for all streams at once: one small question a second, and none while nobody listens."""

import asyncio
import contextlib
from collections import Counter
from collections.abc import Iterator
from typing import Final

from watchdog.front.problems import Problem
from watchdog.front.record import Record
from watchdog.recorder.reader import Reader

EVERY_S: Final = 0.5
MOST_STREAMS: Final = 32
MOST_OF_A_TOKEN: Final = 8


class Tail:
    """`newest` is the id of the newest event that is known of."""

    def __init__(self, record: Record) -> None:
        self.newest = 0
        self.ending = False
        self._record = record
        self._news = asyncio.Event()
        self._listening: Counter[str] = Counter()

    @contextlib.contextmanager
    def listener(self, name: str) -> Iterator[None]:
        """A place for a stream of the token of this name. Raises Problem when there is none."""
        if self._listening.total() >= MOST_STREAMS or self._listening[name] >= MOST_OF_A_TOKEN:
            raise Problem("too-many", f"There are {MOST_STREAMS} streams at most, and {MOST_OF_A_TOKEN} of one token.")
        self._listening[name] += 1
        try:
            yield
        finally:
            self._listening[name] -= 1

    async def look(self) -> int:
        """Read the newest id now. Raises Problem while the record cannot be read."""
        newest = await self._record.read(Reader.newest_event_id)
        if newest != self.newest:
            self.newest = newest
            self._wake()
        return newest

    async def run(self) -> None:
        """Until cancelled."""
        while True:
            await asyncio.sleep(EVERY_S)
            if self._listening.total():
                with contextlib.suppress(Problem):
                    await self.look()

    async def wait(self, within_s: float) -> None:
        """Until there is news, or this time has passed, or all ends."""
        if not self.ending:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), within_s)

    def end(self) -> None:
        """All streams end now."""
        self.ending = True
        self._wake()

    def _wake(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()
