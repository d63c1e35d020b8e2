"""What every request goes through before any route: host, site, size; and every answer on its way out."""

import logging
import traceback
from collections.abc import Collection
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from watchdog.front.body import MOST_BYTES, too_large
from watchdog.front.hosts import check_host, check_site
from watchdog.front.plan import bracketed
from watchdog.front.problems import Problem
from watchdog.wire.plain_text import printable

log = logging.getLogger("heatwarden.front")

HEADERS: Final = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
LARGEST_HEAD: Final = 16 * 1024
_LONGEST_PATH: Final = 200


class Gate:
    """Around the whole application. Nothing that a client sends ends up in the log, but for method and path."""

    def __init__(self, app: ASGIApp, hosts: Collection[str]) -> None:
        self._app, self._hosts = app, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        scope.setdefault("state", {})
        status = 0

        async def outward(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                _dress(message)
            await send(message)

        try:
            self._check(scope)
            await self._app(scope, receive, outward)
        except Problem as problem:
            await problem.response()(scope, receive, outward)
        except ClientDisconnect:
            pass  # it went away while it was still sending: nobody is left to be told
        except Exception as error:  # noqa: BLE001 - its message may hold what a client sent: only where it was is told
            where = "".join(traceback.format_tb(error.__traceback__))
            log.error("a fault of the front: %s at\n%s", type(error).__name__, where)  # noqa: TRY400 - see above
            if not status:
                await Problem("broken", "The front could not answer.").response()(scope, receive, outward)
        finally:
            _tell(scope, status)

    def _check(self, scope: Scope) -> None:
        headers = Headers(scope=scope)
        size = len(scope["raw_path"]) + len(scope["query_string"]) + sum(len(name) + len(value) for name, value in scope["headers"])
        if size > LARGEST_HEAD:
            raise Problem("head-too-large", f"Address and header fields have at most {LARGEST_HEAD} bytes.")
        server = scope.get("server") or ("", None)
        check_host(headers, self._hosts, bracketed(server[0]))
        check_site(scope["method"], headers)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MOST_BYTES:
            raise too_large(MOST_BYTES)


def _dress(message: Message) -> None:
    headers = MutableHeaders(scope=message)
    for name, value in HEADERS.items():
        headers[name] = value


def _tell(scope: Scope, status: int) -> None:
    client = scope.get("client") or ("nobody", 0)
    by = f" by {printable(str(scope['state']['caller']))!r}" if "caller" in scope["state"] else ""
    path = printable(scope["path"], _LONGEST_PATH)
    log.info("%s %s %s from %s%s", status or "no answer", printable(scope["method"], 20), path, client[0], by)
