"""Readings that clients push. Every item is judged by the guard, and each that is refused is named."""

import asyncio
from typing import Any, Final

from fastapi import APIRouter, Request
from pydantic import Field
from starlette.responses import Response

from watchdog.front.access import Caller, MayReport
from watchdog.front.batches import LINES, Batch, Pushed
from watchdog.front.body import MOST_BYTES, media_type
from watchdog.front.described import problems
from watchdog.front.models import Closed
from watchdog.front.problems import Problem
from watchdog.front.site import Site, answer, site_of

AT_ONCE: Final = 4
"""Of the connections to the guard, so that readings never keep a status or a trip waiting."""

MOST_TOLD: Final = 1000
reading_routes = APIRouter(prefix="/api/v1", tags=["readings"])


class Reading(Closed):
    """One reading of a heater; without a heater, the metered power of the whole printer."""

    printer: str
    heater: str | None = None
    temperature_c: float | None = Field(None, description="degrees Celsius")
    target_c: float | None = Field(None, description="degrees Celsius; 0 is off, absent is unknown")
    duty: float | None = Field(None, description="0 to 1")
    power_w: float | None = Field(None, description="watts")
    sensor: str | None = Field(None, description="which of the heater's sensors; absent: the one that its controller uses")
    time: str | float | None = Field(None, description="when it was measured; when it arrives is what counts")


class Refused(Closed):
    """One item that was not taken, or not wholly."""

    index: int = Field(description="its place in what was pushed, from 0")
    why: str


class Taken(Closed):
    """What became of the items."""

    accepted: int
    refused: list[Refused] = Field(description=f"at most {MOST_TOLD} of them")
    refused_count: int


_ITEM: Final = Reading.model_json_schema()
_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "description": "One reading, a list of them, or one a line. Those of a heater must be set as `pushed` in the settings.",
        "content": {"application/json": {"schema": {"anyOf": [_ITEM, {"type": "array", "items": _ITEM}]}}}
        | {lines: {"schema": {"type": "string", "description": "JSON Lines"}} for lines in LINES},
    }
}


@reading_routes.post(
    "/readings",
    response_model=Taken,
    responses=problems("bad-request", "media-type", "too-large", "slow", "cross-site"),
    openapi_extra=_BODY,
)
async def post_readings(request: Request, caller: MayReport) -> Response:
    """Push readings. When the guard goes away in between, the problem says how many were accepted; send the rest again."""
    site = site_of(request)
    form = media_type(request, "application/json", *LINES)
    async with site.room.body(request, MOST_BYTES) as body:
        pushed = Pushed(body, form)
        if form not in LINES:
            body.clear()  # it is held a second time by now, item by item
        refused: list[dict[str, Any]] = []
        accepted = done = 0
        for batch in pushed.batches():
            accepted += await _send(site, request, caller, batch, refused, {"accepted": accepted, "next_index": done})
            done = batch.places[-1] + 1
            await asyncio.sleep(0)  # a large body holds up nobody
    told = sorted(refused + pushed.refused, key=lambda one: int(one["index"]))
    return answer({"accepted": accepted, "refused": told[:MOST_TOLD], "refused_count": len(told)})


async def _send(site: Site, request: Request, caller: Caller, batch: Batch, refused: list[dict[str, Any]], so_far: dict[str, int]) -> int:
    """How many of these the guard accepted; those that it refused go to `refused`."""
    pushing: asyncio.Semaphore = request.app.state.pushing
    try:
        async with pushing:
            reply = await site.access.ask(caller, {"ask": "readings", "readings": batch.items})
    except Problem as problem:
        problem.more |= so_far
        raise
    refused += [{"index": batch.places[one["index"]], "why": str(one["why"])} for one in reply["refused"]]
    return int(reply["accepted"])
