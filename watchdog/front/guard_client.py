"""The guard's second socket, seen from the front: a few connections that are opened when needed and opened again when lost."""

import asyncio
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import orjson

from watchdog.core.values import JsonObject
from watchdog.front.problems import Problem
from watchdog.wire.control import decode_reply

MOST_CONNECTIONS: Final = 8
WITHIN_S: Final = 6.0
"""For all of it, waiting for a free connection included: a little longer than the guard itself waits for its loop."""

ACT_WITHIN_S: Final = 14.0
"""For an act: the guard may first let others of the same token go by, and sees a reset through that it has begun."""

MOST_BYTES: Final = 64 * 1024 * 1024
_AWAY: Final = "No guard answers on its socket."

Connection = tuple[asyncio.StreamReader, asyncio.StreamWriter]


class GuardClient:
    """Asks the guard. Of one event loop; never raises anything but Problem."""

    def __init__(self, path: Path, within_s: float = WITHIN_S, act_within_s: float = ACT_WITHIN_S) -> None:
        self._path, self._within_s, self._act_within_s = path, within_s, act_within_s
        self._slots = asyncio.Semaphore(MOST_CONNECTIONS)
        self._idle: list[Connection] = []

    async def ask(self, request: Mapping[str, Any], *, once: bool = False) -> JsonObject:
        """The guard's reply, good or not. Raises Problem "guard-away" when there is none in time.

        `once`: an act. It goes over a connection of its own and is never sent again, so that it is done once or not at all.
        """
        line = orjson.dumps(request) + b"\n"
        within_s = self._act_within_s if once else self._within_s
        try:
            async with asyncio.timeout(within_s), self._slots:
                return await self._exchange(line, once=once)
        except TimeoutError:
            raise Problem("guard-away", f"The guard did not answer within {within_s:g} s.") from None
        except (OSError, EOFError, ValueError):  # no guard, one that went, or something else that listens there
            raise Problem("guard-away", _AWAY) from None

    async def _exchange(self, line: bytes, *, once: bool) -> JsonObject:
        while not once and (connection := self._taken()) is not None:
            try:
                return await self._over(connection, line)
            except (OSError, EOFError):
                continue  # the guard has closed this one meanwhile, as it does with idle ones, or was started anew
        return await self._over(await asyncio.open_unix_connection(self._path, limit=MOST_BYTES), line)

    def _taken(self) -> Connection | None:
        while self._idle:
            reader, writer = self._idle.pop()
            if not reader.at_eof() and not writer.is_closing():
                return reader, writer
            writer.close()
        return None

    async def _over(self, connection: Connection, line: bytes) -> JsonObject:
        reader, writer = connection
        try:
            writer.write(line)
            await writer.drain()
            reply = decode_reply(await reader.readuntil(b"\n"))
        except BaseException:  # given up in the middle: what comes later must not be taken for another answer
            writer.close()
            raise
        self._idle.append(connection)
        return reply

    async def close(self) -> None:
        """Close what is open."""
        while self._idle:
            self._idle.pop()[1].close()
