"""The second socket over a whole guard in this process: its loop turns in a thread, its clock stands still, and tokens go by it."""

import secrets
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from rig.by_hand import NOON_US, GuardByHand
from rig.front_client import FrontClient

from watchdog.core.outputs import Event
from watchdog.guard.clock import REAL
from watchdog.guard.front_service import FrontService
from watchdog.guard.token_file import Token, hash_of, read_tokens, write_tokens
from watchdog.wire.front import SCOPES, Scope

PRINTERS = ("anvil", "bramble", "cinder")


@dataclass(frozen=True)
class NotTaken:
    index: int
    why: str


def made(name: str, scopes: Sequence[Scope] = SCOPES, printers: tuple[str, ...] = (), until_s: float | None = None) -> tuple[str, Token]:
    """A token, and what is kept of it."""
    secret = f"hw_{secrets.token_urlsafe(32)}"
    return secret, Token(name, tuple(scopes), printers, until_s, hash_of(secret), "2026-10-25T12:00:00Z")


class FrontByHand:
    """`taken` are the readings that came through. `wall_s` is what the wall clock shows."""

    def __init__(self, folder: Path) -> None:
        self.hand = GuardByHand(folder)
        self.state = folder / "state"
        self.path = self.state / "front.sock"
        self.wall_s = NOON_US / 1e6
        self.taken: list[Any] = []
        self.events: list[Event] = []
        clock = REAL._replace(wall_us=lambda: round(self.wall_s * 1e6))
        self.service = FrontService(self.state, self.path, self.hand.standing.inbox, self.take, PRINTERS, clock, self.events.append)
        self.loop = threading.Thread(target=self.hand.guard.loop.run, name="loop")

    def take(self, items: list[Any]) -> tuple[int, list[NotTaken]]:
        """In place of the source: takes what has a temperature."""
        refused = [NotTaken(index, "nothing in it") for index, item in enumerate(items) if not item.get("temperature_c")]
        self.taken += items
        return len(items) - len(refused), refused

    def token(self, name: str, *scopes: Scope, **options: Any) -> str:
        secret, token = made(name, scopes or SCOPES, **options)
        write_tokens(self.state, (*read_tokens(self.state), token))
        return secret

    def client(self) -> FrontClient:
        return FrontClient(self.path)

    def told(self, text: str) -> list[Event]:
        return [event for event in list(self.events) if text in event.sentence]

    def end(self) -> None:
        self.service.stop()
        self.hand.guard.loop.stop()
        if self.loop.ident is not None:
            self.loop.join(5)
        self.hand.__exit__(None, None, None)

    def __enter__(self) -> Self:
        self.loop.start()
        self.service.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.end()
