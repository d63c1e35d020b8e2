"""The messages of the guard's second socket: one JSON object a line each way. Pure; for the guard and for its clients.

`{"ask": "readiness"}` needs no token; all others carry one, and the token must have the scope of what is asked, see `SCOPE_OF`:
`{"ask": "verify", "token": ...}`, `{"ask": "status", "token": ...}`, `{"ask": "readings", "token": ..., "readings": [item, ...]}`,
`{"ask": "trip", "token": ..., "printer": ..., "person": ..., "reason": ...}`,
`{"ask": "reset", "token": ..., "printer": ..., "person": ..., "reason": ..., "unread": false, "vouched": false}`.
A reply is `{"ok": true, ...}` or `{"ok": false, "error": sentence, "kind": one of KINDS}`; see `wire.control` for both.
"""

from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple

import orjson

from watchdog.core.values import JsonObject
from watchdog.wire.control import encode_reply

MAX_LINE: Final = 256 * 1024
"""Bytes of a request; a longer one is refused, and the connection ends."""

MOST_READINGS: Final = 500
"""Of one request."""

Scope = Literal["read", "report", "trip", "reset"]
SCOPES: Final[tuple[Scope, ...]] = ("read", "report", "trip", "reset")

FrontAsk = Literal["readiness", "verify", "status", "readings", "trip", "reset"]
SCOPE_OF: Final[dict[FrontAsk, Scope | None]] = {
    "readiness": None,
    "verify": None,
    "status": "read",
    "readings": "report",
    "trip": "trip",
    "reset": "reset",
}
"""What a token must be good for; None: nothing in particular. No scope includes another one."""

Kind = Literal["no token", "bad token", "no scope", "bad request", "unknown printer", "refused", "busy"]

_TYPES: Final[dict[str, tuple[type, str]]] = {
    "ask": (str, "a text"),
    "token": (str, "a text"),
    "printer": (str, "a text"),
    "person": (str, "a text"),
    "reason": (str, "a text"),
    "unread": (bool, "true or false"),
    "vouched": (bool, "true or false"),
    "readings": (list, "a list"),
}
_OF_AN_ACT: Final = ("printer", "person", "reason")
_KEYS: Final[dict[FrontAsk, tuple[str, ...]]] = {
    "readiness": ("ask",),
    "verify": ("ask", "token"),
    "status": ("ask", "token"),
    "readings": ("ask", "token", "readings"),
    "trip": ("ask", "token", *_OF_AN_ACT),
    "reset": ("ask", "token", *_OF_AN_ACT, "unread", "vouched"),
}


@dataclass(frozen=True, slots=True)
class FrontRequest:
    """What is asked and with which token; of an act also of whom, by whom and why. The token is in no `repr`."""

    ask: FrontAsk
    token: str = field(default="", repr=False)
    printer: str = ""
    person: str = ""
    reason: str = ""
    unread: bool = False
    vouched: bool = False
    readings: list[JsonObject] = field(default_factory=list, repr=False)


class Refused(NamedTuple):
    """Why a request is not answered: its kind for programs, a sentence without its full stop for people."""

    kind: Kind
    error: str


def encode_front_request(request: FrontRequest) -> bytes:
    """One line. Readings may be anything that orjson encodes as an object."""
    return orjson.dumps({key: getattr(request, key) for key in _KEYS[request.ask]}) + b"\n"


def decode_front_request(line: bytes) -> FrontRequest | Refused:
    """The request, or what is wrong with it. What is in a reading is not looked at."""
    if len(line) > MAX_LINE:
        return Refused("bad request", f"a request has at most {MAX_LINE} bytes")
    try:
        found = orjson.loads(line)
    except orjson.JSONDecodeError as error:
        return Refused("bad request", f"not JSON: {error}")
    ask = found.get("ask") if isinstance(found, dict) else None
    if not isinstance(ask, str) or ask not in _KEYS:
        return Refused("bad request", f"a request is a JSON object whose 'ask' is one of {', '.join(_KEYS)}")
    why = _problem(found, _KEYS[ask])
    return Refused("bad request", why) if why else FrontRequest(**found)


def encode_refusal(refused: Refused) -> bytes:
    """One line."""
    return encode_reply({"ok": False, "error": refused.error, "kind": refused.kind})


def _problem(found: JsonObject, keys: tuple[str, ...]) -> str:
    """What is wrong with a request of these keys; empty when nothing is. A value is never shown: it may be a token."""
    if any(key not in keys for key in found):
        return f"there is a key that does not belong to {found['ask']}; allowed: {', '.join(keys)}"
    for key, value in found.items():
        kind, words = _TYPES[key]
        if type(value) is not kind:
            return f"{key} must be {words}"
    missing = [key for key in (*_OF_AN_ACT, "readings") if key in keys and key not in found]
    if missing:
        return f"{found['ask']} needs {', '.join(missing)}"
    if any(key in keys and not found[key].strip() for key in ("person", "reason")):
        return "this needs the name of a person and a reason, both go on record"
    if len(found.get("readings", ())) > MOST_READINGS:
        return f"at most {MOST_READINGS} readings at once, there are {len(found['readings'])}"
    return ""
