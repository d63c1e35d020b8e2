"""Who asks: a bearer token in the header, verified by the guard, which alone knows what is good."""

import asyncio
import hashlib
import re
from typing import Annotated, Final, NamedTuple

from fastapi import Depends, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer, SecurityScopes

from watchdog.core.values import JsonObject
from watchdog.front.guard_client import GuardClient
from watchdog.front.problems import Problem

BELIEVED_S: Final = 2.0
"""So long a good answer is believed without asking again: a revoked token ends this much later at the latest."""

MOST_BELIEVED: Final = 256
_SHAPE: Final = re.compile(r"hw_[A-Za-z0-9_-]{43}")

bearer = HTTPBearer(
    scheme_name="token",
    bearerFormat="hw_ and 43 characters",
    description="Made by `heatwarden token make NAME --scope SCOPE`. In the header only, never in an address.",
    auto_error=False,
)


class Caller(NamedTuple):
    """Whose token it is and what it may do. Without `printers` it may do so with all of them."""

    token: str
    name: str
    scopes: frozenset[str]
    printers: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Without the token: this may end up in a log."""
        return f"Caller({self.name!r})"

    def may(self, scope: str) -> None:
        """Raises Problem unless the token has this scope; an empty one is had by all."""
        if scope and scope not in self.scopes:
            raise Problem("no-scope", f"This needs a token with the scope {scope!r}.", scope=scope)

    def sees(self, printer: str) -> bool:
        """Whether the token is for this printer, too."""
        return not self.printers or printer in self.printers


class Access:
    """Verifies tokens. What is remembered of a good one is its hash."""

    def __init__(self, guard: GuardClient) -> None:
        self._guard = guard
        self._believed: dict[bytes, tuple[float, Caller]] = {}

    async def caller(self, token: str) -> Caller:
        """Whose token this is. Raises Problem when it is not good, or when the guard cannot say."""
        if not _SHAPE.fullmatch(token):
            raise Problem("bad-token", "This is not a token of heatwarden: those are hw_ and 43 characters.")
        now = asyncio.get_running_loop().time()
        key = _key(token)
        until, caller = self._believed.get(key, (0.0, None))
        if caller is not None and now < until:
            return caller
        self._believed.pop(key, None)
        reply = await self._guard.ask({"ask": "verify", "token": token})
        if not reply["ok"]:
            raise refusal(reply, verifying=True)
        caller = Caller(token, str(reply["name"]), frozenset(reply["scopes"]), tuple(reply.get("printers") or ()))
        if len(self._believed) >= MOST_BELIEVED:
            self._believed.clear()
        self._believed[key] = (now + BELIEVED_S, caller)
        return caller

    async def ask(self, caller: Caller, request: JsonObject, *, once: bool = False) -> JsonObject:
        """The guard's good reply to what this caller asks; see GuardClient.ask. Raises Problem for a refusal."""
        reply = await self._guard.ask({**request, "token": caller.token}, once=once)
        if reply["ok"]:
            return reply
        self._believed.pop(_key(caller.token), None)
        if reply.get("kind") == "busy":
            await self.caller(caller.token)  # the guard may be busy with bad tokens, and this one of them by now
        raise refusal(reply)


def _key(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


def refusal(reply: JsonObject, *, verifying: bool = False) -> Problem:
    """What the guard's refusal is to a client."""
    kind, error = str(reply.get("kind", "")), _sentence(str(reply.get("error", "the guard refused")))
    if kind == "busy":
        return Problem("too-many" if verifying else "guard-busy", error)
    names = {"no token": "no-token", "bad token": "bad-token", "no scope": "no-scope", "unknown printer": "unknown-printer"}
    names |= {"bad request": "bad-request", "refused": "refused"}
    return Problem(names.get(kind, "guard-busy"), error)


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


async def verified(
    request: Request, scopes: SecurityScopes, given: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]
) -> Caller:
    """The dependency of every route that needs a token."""
    if given is None:
        raise Problem("no-token", "There is no bearer token in the Authorization header.")
    access: Access = request.app.state.front.access
    caller = await access.caller(given.credentials)
    request.state.caller = caller.name
    for scope in scopes.scopes:
        caller.may(scope)
    return caller


WithToken = Annotated[Caller, Security(verified, scopes=[])]
MayRead = Annotated[Caller, Security(verified, scopes=["read"])]
MayReport = Annotated[Caller, Security(verified, scopes=["report"])]
MayTrip = Annotated[Caller, Security(verified, scopes=["trip"])]
MayReset = Annotated[Caller, Security(verified, scopes=["reset"])]
