"""Whether this process lives, and whether the site is protected: for supervisors, which have no token."""

import asyncio
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import Response

from watchdog.front.described import problems
from watchdog.front.guard_client import GuardClient
from watchdog.front.models import Closed
from watchdog.front.problems import Problem
from watchdog.front.site import answer

BELIEVED_S: Final = 1.0
"""Whoever asks more often hears the same again: without a token nobody can make the guard work."""

health = APIRouter(tags=["health"])


class Alive(Closed):
    """This process answers."""

    alive: bool


class Ready(Closed):
    """Every configured printer is protected."""

    ready: bool
    reasons: list[str]


class Readiness:
    """What the guard says of its readiness, asked once for all who want to know at the same time."""

    def __init__(self, guard: GuardClient) -> None:
        self._guard = guard
        self._lock = asyncio.Lock()
        self._until = 0.0
        self._reasons: list[str] = []
        self._away: Problem | None = None

    async def reasons(self) -> list[str]:
        """Why it is not ready; empty when it is. Raises Problem when the guard does not answer."""
        async with self._lock:
            now = asyncio.get_running_loop().time()
            if now >= self._until:
                await self._ask()
                self._until = asyncio.get_running_loop().time() + BELIEVED_S
        if self._away is not None:
            raise Problem(self._away.name, self._away.detail, reasons=[self._away.detail])
        return self._reasons

    async def _ask(self) -> None:
        try:
            reply = await self._guard.ask({"ask": "readiness"})
        except Problem as away:
            self._away = away
            return
        self._away = None
        if not reply["ok"]:
            self._reasons = [str(reply.get("error", "the guard could not say"))]
        else:
            reasons = [str(reason) for reason in reply.get("reasons", ())]
            self._reasons = [] if reply.get("ready") is True else reasons or ["the guard does not say why"]


@health.get("/livez", response_model=Alive, responses=problems(token=False))
async def livez() -> Response:
    """Whether this process answers at all."""
    return answer({"alive": True})


@health.get("/readyz", response_model=Ready, responses=problems("not-ready", "guard-away", token=False))
async def readyz(request: Request) -> Response:
    """Whether every configured printer is protected. If not, a problem that lists the `reasons`."""
    readiness: Readiness = request.app.state.readiness
    reasons = await readiness.reasons()
    if reasons:
        raise Problem("not-ready", f"{reasons[0]}.", reasons=reasons)
    return answer({"ready": True, "reasons": []})
