"""What the OpenAPI document says of answers that are not good, and the document itself."""

from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import Field

from watchdog import __version__
from watchdog.front.models import Open
from watchdog.front.problems import KINDS, MEDIA_TYPE, URN


class ProblemDocument(Open):
    """RFC 9457. Some types bring further members."""

    type: str = Field(description="stable: programs may go by it", pattern=f"^{URN}[a-z-]+$")
    title: str
    status: int
    detail: str
    what_to_do: str


_CONTENT: Final = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}}
OF_ALL: Final = ("wrong-host", "not-found", "method-not-allowed", "too-large", "head-too-large", "broken", "busy")
"""What any request may meet with, a malformed one aside."""

OF_TOKENS: Final = ("no-token", "bad-token", "no-scope", "too-many", "guard-away", "guard-busy")


def problems(*names: str, token: bool = True) -> dict[int | str, dict[str, Any]]:
    """The `responses` of a route that may answer with these problems, and with those that every route may."""
    by_status: dict[int | str, list[str]] = {400: []}
    for name in dict.fromkeys((*names, *(OF_TOKENS if token else ()), *OF_ALL)):
        by_status.setdefault(int(KINDS[name].status), []).append(name)
    return {status: {"description": _described(given), "content": _CONTENT} for status, given in sorted(by_status.items(), key=str)}


def _described(names: list[str]) -> str:
    return "; ".join(f"{KINDS[name].title} (`{URN}{name}`)" for name in names) or "A malformed request"


def document(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI document."""
    if app.openapi_schema is None:
        described = get_openapi(
            title="heatwarden",
            version=__version__,
            openapi_version="3.1.0",
            summary="An independent watchdog for heated 3D printers. Not a certified safety device.",
            routes=app.routes,
        )
        schema = ProblemDocument.model_json_schema()
        described.setdefault("components", {}).setdefault("schemas", {})["ProblemDocument"] = schema
        app.openapi_schema = described
    return app.openapi_schema
