"""An embedded broker on loopback, for the demo only; never a user's broker."""

import asyncio
import logging
import socket
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

STARTS_WITHIN_S = 10.0


class _Subscriptions(dict[str, Any]):
    """Iterated over as it was at the beginning: the broker waits in the middle of that while another client subscribes."""

    def __iter__(self) -> Iterator[str]:
        return iter(list(super().__iter__()))


def _closing(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """A connection that is cut off when the broker closes is no news; asyncio would print it in the middle of the demo's ending."""
    if not isinstance(context.get("exception"), asyncio.CancelledError):
        loop.default_exception_handler(context)


class NoBrokerError(Exception):
    """The embedded broker is not installed, or did not start."""


@contextmanager
def embedded_broker() -> Iterator[int]:
    """A broker in a thread of its own; gives its port."""
    try:
        from amqtt.broker import Broker
    except ImportError:
        raise NoBrokerError("the demo needs its embedded broker: pip install 'heatwarden[demo]'") from None
    logging.getLogger("amqtt").setLevel(logging.CRITICAL)
    logging.getLogger("transitions").setLevel(logging.CRITICAL)
    port = _free_port()
    config: dict[str, Any] = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
    started = threading.Event()
    stopping: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = []

    async def serve() -> None:
        stop = asyncio.Event()
        asyncio.get_running_loop().set_exception_handler(_closing)
        stopping.append((asyncio.get_running_loop(), stop))
        broker = Broker(config)
        broker._subscriptions = _Subscriptions(broker._subscriptions)  # noqa: SLF001 - see there
        await broker.start()
        started.set()
        await stop.wait()
        await broker.shutdown()

    def run() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            asyncio.run(serve())

    thread = threading.Thread(target=run, name="demo broker", daemon=True)
    thread.start()
    if not started.wait(STARTS_WITHIN_S):
        raise NoBrokerError("the embedded broker did not start within 10 s")
    try:
        yield port
    finally:
        loop, stop = stopping[0]
        loop.call_soon_threadsafe(stop.set)
        thread.join(5.0)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
