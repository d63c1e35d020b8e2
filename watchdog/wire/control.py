"""The guard's control messages: one JSON object a line, a request answered by a reply. Pure.

A request names what is asked: `{"ask": "status"}`, `{"ask": "trip", "printer": ..., "person": ..., "reason": ...}`,
`{"ask": "reset", "printer": ..., "person": ..., "reason": ..., "unread": false, "vouched": false}`,
`{"ask": "bypass", "printer": ..., "check": ..., "minutes": 30, "person": ..., "reason": ..., "long": false}`,
`{"ask": "end bypass", "printer": ..., "person": ...}` with a `check`, or without one for all bypasses of the printer.
A reply is `{"ok": true, ...}` or `{"ok": false, "error": sentence}`.
"""

from dataclasses import dataclass
from typing import Literal

import orjson

from watchdog.core.values import JsonObject

MAX_LINE = 65536
"""A longer request is refused."""

Ask = Literal["status", "trip", "reset", "headroom", "bypass", "end bypass"]
ASKS: tuple[Ask, ...] = ("status", "trip", "reset", "headroom", "bypass", "end bypass")


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked, of whom, by whom and why."""

    ask: Ask
    printer: str = ""
    person: str = ""
    reason: str = ""
    unread: bool = False
    vouched: bool = False
    check: str = ""
    minutes: float = 0.0
    long: bool = False


_TYPES: dict[str, tuple[type, ...]] = {
    "ask": (str,),
    "printer": (str,),
    "person": (str,),
    "reason": (str,),
    "unread": (bool,),
    "vouched": (bool,),
    "check": (str,),
    "minutes": (float, int),
    "long": (bool,),
}
"""What each key holds; a bool is no number."""


def encode_request(request: Request) -> bytes:
    """One line."""
    return orjson.dumps(request) + b"\n"


def decode_request(line: bytes) -> Request | str:
    """The request, or a sentence that says what is wrong with it."""
    if len(line) > MAX_LINE:
        return f"a request has at most {MAX_LINE} bytes"
    try:
        found = orjson.loads(line)
    except orjson.JSONDecodeError as error:
        return f"not JSON: {error}"
    if not isinstance(found, dict) or found.get("ask") not in ASKS:
        return f"a request is a JSON object whose 'ask' is one of {', '.join(ASKS)}"
    for key, value in found.items():
        if key not in _TYPES:
            return f"unknown key {key!r}; allowed: {', '.join(_TYPES)}"
        if type(value) not in _TYPES[key]:
            return f"{key} must be a {_TYPES[key][0].__name__}"
    return Request(**found)


def encode_reply(reply: JsonObject) -> bytes:
    """One line."""
    return orjson.dumps(reply) + b"\n"


def decode_reply(line: bytes) -> JsonObject:
    """The reply; ValueError when it is none."""
    found = orjson.loads(line)
    if not isinstance(found, dict) or not isinstance(found.get("ok"), bool):
        raise ValueError("not a reply of the guard")  # noqa: TRY004 - the bytes are wrong, not a type
    return found
