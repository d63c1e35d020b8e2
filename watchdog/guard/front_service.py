"""The second socket with all that belongs to it. Built when the guard is armed already; whatever fails here leaves protection alone."""

import logging
from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

from watchdog.core.outputs import Event, Level
from watchdog.guard.clock import Clock
from watchdog.guard.inbox import Inbox

if TYPE_CHECKING:
    from watchdog.guard.front_desk import FrontDesk, Take
    from watchdog.guard.front_socket import FrontSocket
    from watchdog.guard.tokens import Tokens

log = logging.getLogger("heatwarden")


class FrontService:
    """`start`, `tend` about once a second, and `stop`; none of them raises. For one thread, that is not the loop's."""

    def __init__(
        self,
        folder: Path,
        path: Path,
        inbox: Inbox,
        take: "Take",
        printers: Collection[str],
        clock: Clock,
        event: Callable[[Event], None],
    ) -> None:
        """Tokens are kept in `folder`, the socket is at `path`. `event` puts something on record, in the loop's thread."""
        self._folder, self._path, self._inbox, self._take = folder, path, inbox, take
        self._printers, self._clock, self._event = printers, clock, event
        self._tokens: Tokens | None = None
        self._desk: FrontDesk | None = None
        self._socket: FrontSocket | None = None
        self._told = False

    def start(self) -> None:
        """Load what is needed and begin to listen."""
        try:
            self._load()
            self._listen()
        except Exception:
            log.exception("the front's socket cannot be made; protection does not need it")

    def tend(self) -> None:
        """See to it that the file of tokens is read in time, and that the socket is where clients look for it."""
        try:
            if self._tokens is not None:
                self._tokens.look()
            if self._desk is not None and not (self._socket is not None and self._path.is_socket()):
                self._listen()
        except Exception:
            log.exception("the front's socket could not be tended")

    def stop(self) -> None:
        """Listen no more."""
        if self._socket is not None:
            self._socket.stop()

    def _load(self) -> None:
        from watchdog.guard.front_desk import FrontDesk  # noqa: PLC0415 - not on the way to armed
        from watchdog.guard.tokens import Tokens  # noqa: PLC0415 - as above

        self._tokens = Tokens(self._folder, self._clock.now, lambda: self._clock.wall_us() / 1e6, self._tell)
        self._tokens.look()
        self._desk = FrontDesk(self._tokens, self._inbox, self._take, self._printers, now=self._clock.now, tell=self._tell)

    def _listen(self) -> None:
        from watchdog.guard.front_socket import FrontSocket  # noqa: PLC0415 - not on the way to armed

        if self._desk is None:
            return
        if self._socket is not None:
            self._socket.stop()
            self._socket = None
        try:
            self._socket = FrontSocket(self._path, self._desk.answer, self._clock.now)
        except OSError as error:
            if not self._told:
                self._tell("warning", f"nobody gets in through the front: {self._path} cannot be made: {error.strerror or error}")
            self._told = True
            return
        self._told = False
        self._socket.start()

    def _tell(self, level: Level, text: str) -> None:
        event = Event(self._clock.now(), "access", level, text)
        self._inbox.call(lambda: self._event(event))
