"""What the routes share: one of each, for as long as the process runs."""

from dataclasses import dataclass
from typing import Any

import orjson
from fastapi import Request
from starlette.responses import Response

from watchdog.front.access import Access
from watchdog.front.body import Room
from watchdog.front.guard_client import GuardClient
from watchdog.front.record import Record
from watchdog.front.tail import Tail


@dataclass(frozen=True, slots=True)
class Site:
    """The guard, the record and what is counted of clients."""

    guard: GuardClient
    access: Access
    record: Record
    tail: Tail
    room: Room


def site_of(request: Request) -> Site:
    """What the process of this request works with."""
    site: Site = request.app.state.front
    return site


def answer(value: Any, headers: dict[str, str] | None = None) -> Response:  # noqa: ANN401 - any JSON
    """A good answer in JSON; numbers that are not finite become null."""
    return Response(orjson.dumps(value), headers=headers, media_type="application/json")
