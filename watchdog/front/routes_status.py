"""Whether printers are protected. It comes from the guard alone: a missing or damaged record does not matter."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from watchdog.core.values import JsonObject
from watchdog.front.access import Caller, MayRead
from watchdog.front.described import problems
from watchdog.front.problems import Problem
from watchdog.front.site import answer, site_of
from watchdog.front.status_models import Printer, Printers, Status

status_routes = APIRouter(prefix="/api/v1", tags=["status"])

PrinterName = Annotated[str, Path(min_length=1, max_length=40, description="as in the settings, such as anvil")]


async def _status(request: Request, caller: Caller) -> JsonObject:
    status: JsonObject = (await site_of(request).access.ask(caller, {"ask": "status"}))["status"]
    return status


@status_routes.get("/status", response_model=Status, responses=problems())
async def get_status(request: Request, caller: MayRead) -> Response:
    """The whole site: per printer whether it is protected, and if not why."""
    return answer(await _status(request, caller))


@status_routes.get("/printers", response_model=Printers, responses=problems())
async def get_printers(request: Request, caller: MayRead) -> Response:
    """All printers."""
    return answer({"printers": (await _status(request, caller))["printers"]})


@status_routes.get("/printers/{name}", response_model=Printer, responses=problems("unknown-printer", "not-valid"))
async def get_printer(name: PrinterName, request: Request, caller: MayRead) -> Response:
    """One printer."""
    printers = (await _status(request, caller))["printers"]
    found = next((printer for printer in printers if printer["name"] == name), None)
    if found is None:
        raise Problem("unknown-printer", "There is no printer of this name that this token may see.")
    return answer(found)
