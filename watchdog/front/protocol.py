"""Connections that cost nothing for long: bounded in number, and in the time for a head, a body and an answer that nobody reads."""

import asyncio
import ipaddress
import logging
from collections import Counter
from typing import Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from watchdog.front.body import WITHIN_S
from watchdog.front.gate import HEADERS, LARGEST_HEAD
from watchdog.front.problems import Problem

log = logging.getLogger("heatwarden.front")

MOST_CONNECTIONS: Final = 256
MOST_OF_A_PEER: Final = 32
"""Of one address that is not this computer."""

HEAD_WITHIN_S: Final = 10.0
BODY_WITHIN_S: Final = WITHIN_S + 5.0
READ_WITHIN_S: Final = 30.0
REST_WITHIN_S: Final = 2.0
"""What still comes of a body that was refused is let in for so long, so that the refusal arrives before the end of the connection."""


class Places:
    """Who is connected, all together and by address."""

    def __init__(self, most: int = MOST_CONNECTIONS, most_of_a_peer: int = MOST_OF_A_PEER) -> None:
        self._most, self._most_of_a_peer = most, most_of_a_peer
        self._of: Counter[str] = Counter()
        self._refused = 0

    def take(self, peer: str) -> bool:
        """Whether there is a place for one more of this address; then it is taken."""
        if self._of.total() >= self._most or (self._of[peer] >= self._most_of_a_peer and not _is_loopback(peer)):
            self._refused += 1
            if self._refused & (self._refused - 1) == 0:  # the 1st, 2nd, 4th, 8th ...: a flood must not fill the log
                log.warning(
                    "%d connections refused so far: there are %d, %d of them of %s", self._refused, self._of.total(), self._of[peer], peer
                )
            return False
        self._of[peer] += 1
        return True

    def give_back(self, peer: str) -> None:
        """It has gone."""
        self._of[peer] -= 1
        if not self._of[peer]:
            del self._of[peer]


def _is_loopback(peer: str) -> bool:
    try:
        return ipaddress.ip_address(peer.partition("%")[0]).is_loopback
    except ValueError:
        return False


class BoundedProtocol(H11Protocol):
    """uvicorn's protocol with a place for each connection and a deadline for each step. See `bounded_by`."""

    places: Places
    _peer: str | None = None
    _deadline: asyncio.TimerHandle | None = None
    _waits_for: str = ""
    _unread: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        peer = self.client[0] if self.client else ""
        if not self.places.take(peer):
            transport.write(_raw(Problem("busy", "There are too many connections.")))
            transport.close()
            return
        self._peer = peer
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self._wait_for("", 0.0)
        self.resume_writing()
        if self._peer is not None:
            self.places.give_back(self._peer)
            self._peer = None

    def data_received(self, data: bytes) -> None:
        if self._peer is not None and not self.transport.is_closing():
            super().data_received(data)
            self._look()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._look()

    def send_400_response(self, msg: str) -> None:
        del msg
        if self.conn.our_state in {h11.IDLE, h11.SEND_RESPONSE}:
            problem = Problem("bad-request", f"This is not HTTP as it can be read here; a head has at most {LARGEST_HEAD} bytes.")
            self.transport.write(_raw(problem))
        self.transport.close()

    def pause_writing(self) -> None:
        super().pause_writing()
        if self._unread is None:
            self._unread = self.loop.call_later(READ_WITHIN_S, self.transport.abort)

    def resume_writing(self) -> None:
        super().resume_writing()
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None

    def _look(self) -> None:
        """Which deadline holds now. A step that goes on keeps the one that it has, however often a byte comes."""
        state = self.conn.their_state
        if state is h11.SEND_BODY and self.conn.our_state is h11.DONE:
            self._wait_for("rest", REST_WITHIN_S)
        elif state is h11.SEND_BODY:
            self._wait_for("body", BODY_WITHIN_S)
        elif state is h11.IDLE and self.timeout_keep_alive_task is None:
            self._wait_for("head", HEAD_WITHIN_S)
        else:
            self._wait_for("", 0.0)

    def _wait_for(self, what: str, within_s: float) -> None:
        if what == self._waits_for:
            return
        self._waits_for = what
        if self._deadline is not None:
            self._deadline.cancel()
        self._deadline = self.loop.call_later(within_s, self.transport.abort) if what else None


def bounded_by(places: Places) -> type[BoundedProtocol]:
    """The class of protocol whose connections share these places."""
    return type("OurProtocol", (BoundedProtocol,), {"places": places})


def _raw(problem: Problem) -> bytes:
    """A whole answer, for when no request can be answered."""
    response = problem.response()
    body = bytes(response.body)
    lines = [f"HTTP/1.1 {problem.kind.status} {problem.kind.status.phrase}", "Connection: close"]
    lines += [f"{name}: {value}" for name, value in HEADERS.items()]
    lines += [f"{name.decode()}: {value.decode()}" for name, value in response.raw_headers]
    return "\r\n".join(lines).encode() + b"\r\n\r\n" + body
