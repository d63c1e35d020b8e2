"""Acts of people: cut by hand, and release. Nothing here can switch anything on."""

from typing import Any

from fastapi import APIRouter, Request
from pydantic import ConfigDict, Field
from starlette.responses import Response

from watchdog.core.values import JsonObject
from watchdog.front.access import Caller, MayReset, MayTrip
from watchdog.front.body import act
from watchdog.front.described import problems
from watchdog.front.models import Closed
from watchdog.front.problems import Problem
from watchdog.front.routes_status import PrinterName
from watchdog.front.site import answer, site_of

act_routes = APIRouter(prefix="/api/v1/printers", tags=["acts"])
_WRONG = ("bad-request", "not-valid", "media-type", "too-large", "slow", "cross-site", "unknown-printer")


class TripAct(Closed):
    """Who cuts, and why; both go on record."""

    model_config = ConfigDict(strict=True, extra="forbid")

    person: str = Field(min_length=1, max_length=100, examples=["Ada"])
    reason: str = Field(min_length=1, max_length=500, examples=["It smells burnt"])


class ResetAct(TripAct):
    """Who releases, and why; both go on record."""

    unread: bool = Field(default=False, description="nothing can be read before power returns; probation follows")
    vouched: bool = Field(default=False, description="the person has seen with their own eyes that the power is off")


class Tripped(Closed):
    """OFF was commanded. Whether the power is gone, the status tells."""

    trip: str
    already: bool = Field(description="it was latched before")
    relays: list[str]


class Released(Closed):
    """Nothing was switched on: that is for a person to do, with the printer in sight."""

    probation: bool = Field(description="within 120 s of power coming back healthy readings must flow, or it trips again")


def _body(model: type[TripAct]) -> dict[str, Any]:
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": model.model_json_schema()}}}}


async def _ask(request: Request, caller: Caller, printer: str, ask: str, given: TripAct) -> JsonObject:
    asked = {"ask": ask, "printer": printer, **given.model_dump()}
    try:
        return await site_of(request).access.ask(caller, asked, once=True)
    except Problem as problem:
        if problem.name == "guard-away":
            problem.detail += " CUT THE POWER BY HAND." if ask == "trip" else " Whether it was carried out, the status tells."
        raise


@act_routes.post("/{name}/trip", response_model=Tripped, responses=problems(*_WRONG), openapi_extra=_body(TripAct))
async def post_trip(name: PrinterName, request: Request, caller: MayTrip) -> Response:
    """Cut the power of a printer by hand. It stays latched until it is reset."""
    given = await act(request, site_of(request).room, TripAct)
    reply = await _ask(request, caller, name, "trip", given)
    return answer({key: reply[key] for key in ("trip", "already", "relays")})


@act_routes.post("/{name}/reset", response_model=Released, responses=problems(*_WRONG, "refused"), openapi_extra=_body(ResetAct))
async def post_reset(name: PrinterName, request: Request, caller: MayReset) -> Response:
    """Release a latched printer. What speaks against it, the guard says in a sentence."""
    given = await act(request, site_of(request).room, ResetAct)
    reply = await _ask(request, caller, name, "reset", given)
    return answer({"probation": reply["probation"]})
