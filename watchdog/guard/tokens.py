"""Whether a token is good: the file is read again whenever it changes, so that a token that was revoked is refused at once."""

import logging
import threading
from collections import deque
from collections.abc import Callable
from hmac import compare_digest
from pathlib import Path
from typing import Final, NamedTuple

from watchdog.core.outputs import Level
from watchdog.guard.token_file import NAME, Token, TokensUnusableError, hash_of, read_tokens
from watchdog.wire.front import Refused

log = logging.getLogger("heatwarden")

MOST_BAD: Final = 20
WITHIN_S: Final = 60.0
"""After so many bad tokens within this time, further bad ones are told to wait; good ones are not held up by them."""

UNKNOWN: Final = Refused("bad token", "this token is not good: it is unknown or was revoked")
OVER: Final = Refused("bad token", "this token is not good any more: its end has come")
MISSING: Final = Refused("no token", "this needs a token; `heatwarden token make` makes one")
WAIT: Final = Refused("busy", f"too many bad tokens: wait for {WITHIN_S:.0f} s")


class _Seen(NamedTuple):
    """What tells a file from the same one later; an empty one stands for no file, or none that can be looked at."""

    inode: int = 0
    size: int = 0
    changed_ns: int = 0
    touched_ns: int = 0


class Tokens:
    """The tokens of one state directory. From any thread; `now` are engine seconds, `wall_s` seconds since 1970.

    The end of a token goes by the wall clock. A clock that is set back lengthens it: whoever can do that can also write the file.
    """

    def __init__(
        self,
        folder: Path,
        now: Callable[[], float],
        wall_s: Callable[[], float],
        tell: Callable[[Level, str], None] = lambda _level, _text: None,
    ) -> None:
        """`tell` gets a level and a sentence whenever there is news of the file, and once when bad tokens come in numbers."""
        self._folder, self._now, self._wall_s, self._tell = folder, now, wall_s, tell
        self._lock = threading.Lock()
        self._seen: _Seen | None = None
        self._tokens: tuple[Token, ...] = ()
        self._bad: deque[float] = deque(maxlen=MOST_BAD)
        self._limiting = False
        self.why = ""
        """Why no token is good; empty when the file can be used."""

    def verify(self, token: str) -> Token | Refused:
        """Whose token this is. Looks at every one that is kept, so that the time it takes tells nothing."""
        if not token:
            return MISSING
        self.look()
        given = hash_of(token)
        found: Token | None = None
        for kept in self._tokens:
            if compare_digest(kept.sha256, given):
                found = kept
        if found is not None and not found.over(self._wall_s()):
            return found
        return self._refused(OVER if found is not None else UNKNOWN)

    def look(self) -> None:
        """Read the file again if it is another one than before."""
        seen = self._stat()
        if seen == self._seen:
            return
        with self._lock:
            if seen != self._seen:
                self._read()
                self._seen = seen  # from before reading: what changes meanwhile is read next time

    def _stat(self) -> _Seen:
        try:
            status = (self._folder / NAME).stat()
        except OSError:
            return _Seen()
        return _Seen(status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)

    def _read(self) -> None:
        before, first = self._tokens, self._seen is None
        try:
            self._tokens, why = read_tokens(self._folder), ""
        except TokensUnusableError as error:
            self._tokens, why = (), str(error)
        if why and why != self.why:
            self._tell("warning", f"{why}: NO TOKEN IS GOOD, nobody gets in through the front. Mend it or remove it, then make tokens anew")
        elif not why and not first:
            changes = _changes(before, self._tokens) if not self.why else f"it can be read again, tokens: {len(self._tokens)}"
            if changes:
                self._tell("info", f"{NAME}: {changes}")
        self.why = why

    def _refused(self, refused: Refused) -> Refused:
        """Counts a bad token."""
        at = self._now()
        with self._lock:
            limited = len(self._bad) == MOST_BAD and at - self._bad[0] < WITHIN_S
            if not limited:
                self._bad.append(at)
            news = limited and not self._limiting
            self._limiting = limited
        if news:
            self._tell("warning", f"{MOST_BAD} bad tokens within {WITHIN_S:.0f} s: somebody tries, or something uses an old one")
        return WAIT if limited else refused


def _changes(before: tuple[Token, ...], after: tuple[Token, ...]) -> str:
    """What was added and taken away, in words; without anything that is secret."""
    added = [f"'{token.name}' ({', '.join(token.scopes)})" for token in after if token not in before]
    gone = [f"'{token.name}'" for token in before if token not in after]
    return "; ".join(f"{words} {', '.join(names)}" for words, names in (("added", added), ("taken away", gone)) if names)
