"""The application: routes by subject, around them what holds for all."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from watchdog.front.access import Access, WithToken
from watchdog.front.body import Room, not_valid
from watchdog.front.described import document, problems
from watchdog.front.guard_client import GuardClient
from watchdog.front.plan import Plan
from watchdog.front.problems import Problem
from watchdog.front.record import Record
from watchdog.front.routes_acts import act_routes
from watchdog.front.routes_health import Readiness, health
from watchdog.front.routes_readings import AT_ONCE, reading_routes
from watchdog.front.routes_record import record_routes
from watchdog.front.routes_status import status_routes
from watchdog.front.routes_stream import stream_routes
from watchdog.front.site import Site, answer
from watchdog.front.tail import Tail

about = APIRouter(prefix="/api/v1", tags=["about"])
_BY_STATUS = {404: "not-found", 405: "method-not-allowed", 400: "bad-request"}


@about.get("/openapi.json", response_model=dict[str, Any], responses=problems())
async def get_openapi(request: Request, _caller: WithToken) -> Response:
    """This document."""
    return answer(document(request.app))


def make_app(plan: Plan) -> FastAPI:
    """The application for this plan. Starts without guard and record, and waits for both."""
    guard, record = GuardClient(plan.guard_socket), Record(plan.record)
    site = Site(guard, Access(guard), record, Tail(record), Room())

    @contextlib.asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        following = asyncio.create_task(site.tail.run())
        yield
        following.cancel()
        await guard.close()

    # Its own pages for the document would load scripts from elsewhere.
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, redirect_slashes=False, lifespan=lifespan)
    app.state.front = site
    app.state.readiness = Readiness(guard)
    app.state.pushing = asyncio.Semaphore(AT_ONCE)
    for router in (health, about, status_routes, stream_routes, record_routes, reading_routes, act_routes):
        app.include_router(router)
    app.add_exception_handler(Problem, _problem)
    app.add_exception_handler(HTTPException, _of_framework)
    app.add_exception_handler(RequestValidationError, _invalid)
    return app


async def _problem(_request: Request, error: Exception) -> Response:
    assert isinstance(error, Problem)
    return error.response()


async def _of_framework(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    name = _BY_STATUS.get(error.status_code, "broken")
    detail = {"not-found": "There is nothing at this path.", "method-not-allowed": f"{request.method} is not for this path."}
    return Problem(name, detail.get(name, "It could not be read."), headers=error.headers).response()


async def _invalid(_request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return not_valid(error.errors()).response()
