"""What is on record: events and trips, in pages that later rows do not shift."""

from collections.abc import Sequence
from functools import partial
from typing import Annotated, Any, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query, Request
from pydantic import ConfigDict, Field
from starlette.responses import Response

from watchdog.core.outputs import Level
from watchdog.front.access import Caller, MayRead
from watchdog.front.described import problems
from watchdog.front.models import Closed, Events, Instant, Trips, TripStory, event_json, microseconds, time_text, trip_json
from watchdog.front.problems import Problem
from watchdog.front.site import answer, site_of
from watchdog.recorder.reader import Only, Reader

record_routes = APIRouter(prefix="/api/v1", tags=["record"])
LARGEST_ID = 2**63 - 1


class Filter(Closed):
    """Which rows. Unknown parameters are refused: a misspelt filter must not look like an answer."""

    model_config = ConfigDict(extra="forbid")

    printer: str = Field("", max_length=40, description="of this printer only")
    kind: str = Field("", max_length=40, description="of this kind only")
    since: Instant | None = Field(None, description="not older than this, RFC 3339 with an offset")
    until: Instant | None = Field(None, description="older than this, RFC 3339 with an offset")

    def only(self, caller: Caller) -> Only | None:
        """For the reader; None when nothing can fit, because the token is not for this printer."""
        if self.printer and not caller.sees(self.printer):
            return None
        printers = (self.printer,) if self.printer else caller.printers
        level = getattr(self, "level", "")
        return Only(printers, self.kind, level, microseconds(self.since), microseconds(self.until))


class TripFilter(Filter):
    """A page of trips."""

    limit: int = Field(50, ge=1, le=200, description="how many")
    before: int | None = Field(None, ge=1, le=LARGEST_ID, description="only those with a smaller id: for the next page")


class EventFilter(TripFilter):
    """A page of events."""

    level: Level | Literal[""] = Field("", description="of this level only")


@record_routes.get("/events", response_model=Events, responses=problems("not-valid", "record-unreadable"))
async def get_events(wanted: Annotated[EventFilter, Query()], request: Request, caller: MayRead) -> Response:
    """What happened, the newest first."""
    only = wanted.only(caller)
    rows = (
        [] if only is None else await _page(request, partial(Reader.latest_events, limit=wanted.limit, before_id=wanted.before, only=only))
    )
    return _answer("events", [event_json(row) for row in rows], wanted)


@record_routes.get("/trips", response_model=Trips, responses=problems("not-valid", "record-unreadable"))
async def get_trips(wanted: Annotated[TripFilter, Query()], request: Request, caller: MayRead) -> Response:
    """The trips, the newest first."""
    only = wanted.only(caller)
    rows = [] if only is None else await _page(request, partial(Reader.trips, limit=wanted.limit, before_id=wanted.before, only=only))
    return _answer("trips", [trip_json(row) for row in rows], wanted)


@record_routes.get("/trips/{id}", response_model=TripStory, responses=problems("not-valid", "unknown-trip", "record-unreadable"))
async def get_trip(
    number: Annotated[int, Path(alias="id", ge=1, le=LARGEST_ID, description="its id on record")],
    request: Request,
    caller: MayRead,
) -> Response:
    """One trip with the events that tell of it, in their order."""
    story = await site_of(request).record.read(partial(Reader.trip, trip=number))
    if story is None or not caller.sees(story.trip.printer):
        raise Problem("unknown-trip", "There is no trip of this id on record that this token may see.")
    return answer({"trip": trip_json(story.trip), "events": [event_json(event) for event in story.events]})


async def _page(request: Request, ask: Any) -> Any:  # noqa: ANN401 - a method of the reader, and its rows
    return await site_of(request).record.read(ask)


def _answer(name: str, rows: Sequence[dict[str, Any]], wanted: TripFilter) -> Response:
    """A page, and where the next one is. A page that is not full is the last."""
    following = None
    if len(rows) == wanted.limit:
        given = {key: value for key, value in wanted.model_dump(exclude_defaults=True).items() if key != "before"}
        for key in ("since", "until"):
            if key in given:
                given[key] = time_text(microseconds(given[key]) or 0)
        following = f"/api/v1/{name}?" + urlencode(given | {"before": rows[-1]["id"]})
    return answer({name: rows, "next": following}, {"Link": f'<{following}>; rel="next"'} if following else None)
