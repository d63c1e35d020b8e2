"""The server: uvicorn with our limits, and an end that takes no longer than two seconds."""

import asyncio
import logging
import signal
import socket
import ssl
from typing import Any, Final

import uvicorn

from watchdog.front.app import make_app
from watchdog.front.gate import LARGEST_HEAD, Gate
from watchdog.front.plan import Plan, bracketed
from watchdog.front.protocol import HEAD_WITHIN_S, Places, bounded_by
from watchdog.front.tail import Tail

log = logging.getLogger("heatwarden.front")

ENDS_WITHIN_S: Final = 2
IDLE_S: Final = 15
BACKLOG: Final = 128


class CannotListenError(Exception):
    """The text says where, why and what to do."""


class Server(uvicorn.Server):
    """Ends streams first, which would go on for ever."""

    def __init__(self, config: uvicorn.Config, tail: Tail) -> None:
        super().__init__(config)
        self._tail = tail

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """As uvicorn does, once the streams know."""
        self._tail.end()
        await super().shutdown(sockets)


class Loop(asyncio.SelectorEventLoop):
    """The usual loop; a TLS handshake has no longer than a head."""

    async def create_server(self, *args: Any, **given: Any) -> asyncio.Server:  # noqa: ANN401 - passed on as it is
        """As usual."""
        if given.get("ssl") is not None:
            given["ssl_handshake_timeout"] = HEAD_WITHIN_S
        return await super().create_server(*args, **given)


def serve(plan: Plan) -> None:
    """Until SIGTERM or SIGINT. Raises CannotListenError."""
    sockets = [_listening(plan)]
    app = make_app(plan)
    config = uvicorn.Config(
        Gate(app, plan.hosts),
        interface="asgi3",
        http=bounded_by(Places()),
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=IDLE_S,
        timeout_graceful_shutdown=ENDS_WITHIN_S,
        h11_max_incomplete_event_size=LARGEST_HEAD,
        ssl_context_factory=(lambda _config, _default: _tls(plan)) if plan.certificate_file else None,
    )
    logging.getLogger("uvicorn").parent = log
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: None)  # uvicorn raises it once more when all has ended well
    scheme = "https" if plan.certificate_file else "http"
    log.info("the front listens on %s://%s:%d", scheme, bracketed(plan.listen), sockets[0].getsockname()[1])
    with asyncio.Runner(loop_factory=Loop) as runner:
        runner.run(Server(config, app.state.front.tail).serve(sockets))
    log.info("the front has ended")


def _listening(plan: Plan) -> socket.socket:
    family = socket.AF_INET6 if ":" in plan.listen else socket.AF_INET
    # With its protocol named: else asyncio would leave Nagle's algorithm on, which costs 40 ms an answer.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((plan.listen, plan.port))
        listener.listen(BACKLOG)
    except OSError as error:
        listener.close()
        where = f"{bracketed(plan.listen)}:{plan.port}"
        raise CannotListenError(f"the front cannot listen on {where}: {error.strerror}. Change listen or port under [front]") from None
    listener.setblocking(False)
    return listener


def _tls(plan: Plan) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(plan.certificate_file, plan.key_file)
    return context
