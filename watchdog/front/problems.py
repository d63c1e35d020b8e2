"""What went wrong, as RFC 9457 problem documents: a stable type, what was found, and what to do."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final, NamedTuple

import orjson
from starlette.responses import Response

MEDIA_TYPE: Final = "application/problem+json"
URN: Final = "urn:heatwarden:problem:"


class Kind(NamedTuple):
    """One kind of problem: its HTTP status, its title, and what to do about it."""

    status: HTTPStatus
    title: str
    what_to_do: str
    headers: Mapping[str, str] = {}


KINDS: Final[dict[str, Kind]] = {
    "no-token": Kind(
        HTTPStatus.UNAUTHORIZED,
        "A token is needed",
        "Send the header `Authorization: Bearer TOKEN`; `heatwarden token make` makes one.",
        {"WWW-Authenticate": 'Bearer realm="heatwarden"'},
    ),
    "bad-token": Kind(
        HTTPStatus.UNAUTHORIZED,
        "This token is not good",
        "It is unknown, revoked or over: `heatwarden token list` shows those that are good.",
        {"WWW-Authenticate": 'Bearer realm="heatwarden", error="invalid_token"'},
    ),
    "no-scope": Kind(HTTPStatus.FORBIDDEN, "This token may not do that", "Use a token with the scope that is named."),
    "cross-site": Kind(HTTPStatus.FORBIDDEN, "Asked for by a page of another site", "Pages of other sites may not act here."),
    "wrong-host": Kind(
        HTTPStatus.MISDIRECTED_REQUEST, "Not known by this name", "Use an address that it listens on, or add the name to `[front] hosts`."
    ),
    "not-found": Kind(HTTPStatus.NOT_FOUND, "There is no such thing", "/api/v1/openapi.json describes all that there is."),
    "unknown-printer": Kind(HTTPStatus.NOT_FOUND, "There is no such printer", "GET /api/v1/printers lists them."),
    "unknown-trip": Kind(HTTPStatus.NOT_FOUND, "There is no such trip on record", "GET /api/v1/trips lists them."),
    "method-not-allowed": Kind(HTTPStatus.METHOD_NOT_ALLOWED, "Not by this method", "The header Allow names the ones that there are."),
    "refused": Kind(HTTPStatus.CONFLICT, "The guard refused", "See to what it says, then ask again."),
    "too-large": Kind(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "The body is too large", "Send less at once."),
    "head-too-large": Kind(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "Address or header fields are too large", "Send less in them."),
    "media-type": Kind(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Not in this form", "Send it as one of the content types named, uncompressed."),
    "bad-request": Kind(HTTPStatus.BAD_REQUEST, "This cannot be read", "Correct it; nothing of it was taken."),
    "not-valid": Kind(HTTPStatus.UNPROCESSABLE_ENTITY, "Something in it cannot be", "Correct what `errors` lists; nothing was taken."),
    "too-many": Kind(
        HTTPStatus.TOO_MANY_REQUESTS, "Too many at once, or too many bad tokens", "Wait, then try again.", {"Retry-After": "30"}
    ),
    "guard-away": Kind(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "The guard does not answer",
        "It may be that nothing is protected now: look at the log of the guard, or run `heatwarden status` where it runs.",
        {"Retry-After": "3"},
    ),
    "guard-busy": Kind(HTTPStatus.SERVICE_UNAVAILABLE, "The guard is busy", "Try again in a moment.", {"Retry-After": "1"}),
    "not-ready": Kind(HTTPStatus.SERVICE_UNAVAILABLE, "Not ready", "See to the reasons.", {"Retry-After": "5"}),
    "record-unreadable": Kind(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "The record cannot be read",
        "Protection does not need it: GET /api/v1/status tells whether printers are protected.",
        {"Retry-After": "10"},
    ),
    "busy": Kind(HTTPStatus.SERVICE_UNAVAILABLE, "Too much at once", "Try again in a moment.", {"Retry-After": "1"}),
    "slow": Kind(HTTPStatus.REQUEST_TIMEOUT, "The body took too long to come", "Send it again, in smaller pieces."),
    "broken": Kind(HTTPStatus.INTERNAL_SERVER_ERROR, "A fault of the front process", "Its log tells more. Protection does not need it."),
}
"""By the last part of the `type`. A name never changes its meaning."""


class Problem(Exception):  # noqa: N818 - it is what the document is called
    """Raised anywhere below a route, answered as its document. `more` are further members; nothing in it may hold a secret."""

    def __init__(self, name: str, detail: str, *, headers: Mapping[str, str] | None = None, **more: Any) -> None:  # noqa: ANN401 - JSON
        super().__init__(name)
        self.name, self.detail, self.more = name, detail, more
        self.kind = KINDS[name]
        self.headers = {**self.kind.headers, **(headers or {})}

    def document(self) -> dict[str, Any]:
        """The members of the document."""
        known = {
            "type": URN + self.name,
            "title": self.kind.title,
            "status": int(self.kind.status),
            "detail": self.detail,
            "what_to_do": self.kind.what_to_do,
        }
        return known | self.more

    def response(self) -> Response:
        """The answer to the client."""
        return Response(orjson.dumps(self.document()), self.kind.status, self.headers, MEDIA_TYPE)
