"""What went wrong lately, for `status`: who looks now must see it without the log."""

from dataclasses import dataclass

from watchdog.core.outputs import Event
from watchdog.core.values import JsonObject
from watchdog.wire.plain_text import printable

KEPT = 20
LONGEST_SHOWN = 300


@dataclass(slots=True)
class _Entry:
    event: Event
    count: int


class Recent:
    """The last warnings and alarms. What repeats is one entry with a count; when room is needed, warnings go before alarms."""

    def __init__(self) -> None:
        self._entries: dict[tuple[str, ...], _Entry] = {}

    def note(self, event: Event) -> None:
        """Keep `event`, unless it is for the record only."""
        if event.level == "info":
            return
        key = (event.kind, event.printer, event.heater, event.check, event.relay, event.source)
        before = self._entries.pop(key, None)
        self._entries[key] = _Entry(event, 1 if before is None else before.count + 1)
        if len(self._entries) > KEPT:
            mild = (key for key, entry in self._entries.items() if entry.event.level == "warning")
            del self._entries[next(mild, next(iter(self._entries)))]

    def told(self, now: float) -> list[JsonObject]:
        """All of them as plain JSON values, the newest first; `now` and ages are engine seconds."""
        return [
            {
                "age_s": round(max(0.0, now - entry.event.at), 1),
                "level": entry.event.level,
                "kind": entry.event.kind,
                "printer": entry.event.printer,
                "heater": entry.event.heater,
                "relay": entry.event.relay,
                "sentence": printable(entry.event.sentence, LONGEST_SHOWN),
                "count": entry.count,
            }
            for entry in reversed(self._entries.values())
        ]
