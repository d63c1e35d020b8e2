"""Bodies, read piece by piece, so that none grows beyond what is allowed before it is refused."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Any, Final, TypeVar

import orjson
from fastapi import Request
from pydantic import BaseModel, ValidationError

from watchdog.front.problems import Problem

MOST_BYTES: Final = 8 * 1024 * 1024
MOST_OF_AN_ACT: Final = 16 * 1024
WITHIN_S: Final = 30.0
M = TypeVar("M", bound=BaseModel)


class Room:
    """Bytes of bodies that are held at one time, all requests together: what they are decoded to takes several times as much."""

    def __init__(self, most: int = MOST_BYTES + MOST_BYTES // 2) -> None:
        self._left = most

    @contextlib.asynccontextmanager
    async def body(self, request: Request, most: int) -> AsyncIterator[bytearray]:
        """The whole body; its room is taken until the block ends. Raises Problem when it is too large, or too slow."""
        body = bytearray()
        size = await self._fill(body, request, most)
        try:
            yield body
        finally:
            self._left += size

    async def _fill(self, body: bytearray, request: Request, most: int) -> int:
        """How many bytes there are. When it fails, their room is given back."""
        try:
            async with asyncio.timeout(WITHIN_S):
                async for piece in request.stream():
                    self._left -= len(piece)
                    body += piece
                    self._check(len(body), most)
        except BaseException as error:
            self._left += len(body)
            if isinstance(error, TimeoutError):
                raise Problem("slow", f"The body was not there within {WITHIN_S:g} s.") from None
            raise
        return len(body)

    def _check(self, size: int, most: int) -> None:
        if size > most:
            raise too_large(most)
        if self._left < 0:
            raise Problem("busy", "Too many large bodies come in at the same time.")


def too_large(most: int) -> Problem:
    """More bytes than are allowed here."""
    return Problem("too-large", f"A body has at most {most} bytes here.", most_bytes=most)


def media_type(request: Request, *allowed: str) -> str:
    """Which of these types the body is said to be of. Raises Problem for any other, and for a compressed one."""
    given = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if given not in allowed:
        raise Problem("media-type", f"The content type must be {' or '.join(allowed)}.", allowed=list(allowed))
    if request.headers.get("content-encoding", "identity").strip().lower() != "identity":
        raise Problem("media-type", "A compressed body is not taken.", allowed=list(allowed))
    return given


def decoded(body: bytes | bytearray) -> Any:  # noqa: ANN401 - any JSON
    """The JSON value; strict: no NaN, no infinity. Raises Problem."""
    try:
        return orjson.loads(body)
    except orjson.JSONDecodeError as error:
        raise Problem("bad-request", f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}.") from None


async def act(request: Request, room: Room, model: type[M]) -> M:
    """The body of an act, as its model. Raises Problem."""
    media_type(request, "application/json")
    async with room.body(request, MOST_OF_AN_ACT) as body:
        value = decoded(body)
    try:
        return model.model_validate(value)
    except ValidationError as error:
        raise not_valid(error.errors(include_url=False, include_input=False, include_context=False)) from None


def not_valid(errors: Any) -> Problem:  # noqa: ANN401 - sequences of pydantic's and of FastAPI's details
    """What pydantic found, without the values that were given."""
    found = [{"where": ".".join(map(str, error["loc"])) or "body", "what": str(error["msg"])} for error in errors]
    return Problem("not-valid", f"{found[0]['where']}: {found[0]['what']}.", errors=found)
