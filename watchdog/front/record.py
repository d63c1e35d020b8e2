"""The record, read in threads of its own so that a slow disk holds up no other answer."""

from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

import anyio
import anyio.to_thread

from watchdog.front.problems import Problem
from watchdog.recorder.reader import Reader, RecordUnreadable

AT_ONCE: Final = 4
T = TypeVar("T")


class Record:
    """The record at `path`. It may be missing or damaged, and come back: every read looks anew."""

    def __init__(self, path: Path) -> None:
        self._reader = Reader(path)
        self._threads = anyio.CapacityLimiter(AT_ONCE)

    async def read(self, ask: Callable[[Reader], T]) -> T:
        """What `ask` finds. Raises Problem "record-unreadable"."""
        try:
            return await anyio.to_thread.run_sync(ask, self._reader, limiter=self._threads)
        except RecordUnreadable as error:
            raise Problem("record-unreadable", str(error)) from None
