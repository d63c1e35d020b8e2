"""Events as they are recorded, as a stream of server-sent events."""

from collections.abc import AsyncIterator
from functools import partial
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Depends, Header, Query, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent
from pydantic import Field

from watchdog.core.outputs import Level
from watchdog.front.access import BELIEVED_S, MayRead
from watchdog.front.described import problems
from watchdog.front.models import event_json
from watchdog.front.problems import Problem
from watchdog.front.routes_record import LARGEST_ID, Filter
from watchdog.front.site import Site, site_of
from watchdog.recorder.reader import Only, Reader
from watchdog.recorder.rows import EventRow

AT_ONCE = 100
RETRY_MS = 3000
PASSING = {"guard-away", "guard-busy", "too-many"}
"""Problems that say nothing about the token: the stream waits until it can be verified again, and tells nothing meanwhile."""

stream_routes = APIRouter(prefix="/api/v1", tags=["record"])


class StreamFilter(Filter):
    """Which events, and after which."""

    level: Level | Literal[""] = Field("", description="of this level only")
    after: int | None = Field(None, ge=0, le=LARGEST_ID, description="those with a larger id; by default those that come from now on")


LastEventId = Annotated[int | None, Header(alias="Last-Event-ID", ge=0, le=LARGEST_ID, description="the last id that was seen")]


async def _listener(
    request: Request, wanted: Annotated[StreamFilter, Query()], caller: MayRead, last: LastEventId = None
) -> AsyncIterator[int]:
    """A place among the listeners; the id after which the stream begins. What is wrong is told before it begins."""
    tail = site_of(request).tail
    with tail.listener(caller.name):
        newest = await tail.look()
        yield next((place for place in (last, wanted.after) if place is not None), newest)


@stream_routes.get("/events/stream", response_class=EventSourceResponse, responses=problems("not-valid", "record-unreadable"))
async def stream_events(
    request: Request,
    wanted: Annotated[StreamFilter, Query()],
    after: Annotated[int, Depends(_listener)],
    caller: MayRead,
) -> AsyncIterator[ServerSentEvent]:
    """Events as they are recorded; `data` is an event as GET /api/v1/events has it.

    After a break, go on with the header Last-Event-ID. An event named `end` tells why the stream ends.
    """
    site = site_of(request)
    yield ServerSentEvent(comment="events as they are recorded", retry=RETRY_MS)
    while not site.tail.ending:
        try:
            caller = await site.access.caller(caller.token)
            caller.may("read")
        except Problem as problem:
            if problem.name not in PASSING:
                yield ServerSentEvent(event="end", raw_data=orjson.dumps(problem.document()).decode())
                return
        else:
            only = wanted.only(caller)
            rows, after = ([], site.tail.newest) if only is None else await _more(site, after, only)
            for row in rows:
                yield _sent(row)
            if len(rows) == AT_ONCE:
                continue
        await site.tail.wait(BELIEVED_S)


async def _more(site: Site, after: int, only: Only) -> tuple[list[EventRow], int]:
    """The next events, and the id after which to go on."""
    newest = site.tail.newest
    if newest < after:
        after = 0  # the record was damaged and begun anew: its ids count from 1 again
    if newest <= after:
        return [], after
    try:
        rows: list[EventRow] = await site.record.read(partial(Reader.events, after_id=after, limit=AT_ONCE, only=only))
    except Problem:
        return [], after
    return rows, rows[-1].id if len(rows) == AT_ONCE else max([newest, *(row.id for row in rows)])


def _sent(row: EventRow) -> ServerSentEvent:
    data: dict[str, Any] = event_json(row)
    return ServerSentEvent(event="event", id=str(row.id), raw_data=orjson.dumps(data).decode())
