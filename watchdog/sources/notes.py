"""Notes for the log, at most one of a kind in ten seconds."""

from collections.abc import Callable
from typing import Final, Literal

from watchdog.core.values import NEVER
from watchdog.wire.plain_text import printable

NoteLevel = Literal["info", "warning"]
Note = Callable[[NoteLevel, str], None]

QUIET_S: Final = 10.0
LONGEST_NOTE: Final = 300


class Notes:
    """Passes notes on to `tell`, says how many alike were held back, and never raises. For one thread."""

    def __init__(self, now: Callable[[], float], tell: Note) -> None:
        self._now = now
        self._tell = tell
        self._last: dict[str, float] = {}
        self._held: dict[str, int] = {}

    def note(self, kind: str, level: NoteLevel, text: str) -> None:
        """Tell `text`, unless one of the same `kind` was told within the last ten seconds."""
        at = self._now()
        if at - self._last.get(kind, NEVER) < QUIET_S:
            self._held[kind] = self._held.get(kind, 0) + 1
            return
        self._last[kind] = at
        held = self._held.pop(kind, 0)
        shown = printable(text, LONGEST_NOTE)
        try:
            self._tell(level, f"{shown} ({held} more like it)" if held else shown)
        except Exception:  # noqa: BLE001 - a log that fails must not cost a reading
            self._held[kind] = held + 1
