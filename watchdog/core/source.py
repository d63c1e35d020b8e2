"""What is known of one source of readings."""

from watchdog.core.plan import SourcePlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain


class Source:
    """One publisher. Implements SourceView."""

    STATE = ("alive_at", "connected", "gone", "lost")

    def __init__(self, plan: SourcePlan) -> None:
        self.name, self.link = plan.name, plan.link or plan.name
        self.on_change, self.longest_interval_s = plan.on_change, plan.longest_interval_s
        self.alive_at = NEVER
        self.connected: bool | None = None
        self.gone = False  # its last will says so; a hint only
        self.lost = False  # its loss was told

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))


class Link:
    """A connection that sources share, and the heaters behind it found silent since the last word about it.

    What is lost together is one event: heaters that fall silent within `COLLECT_S` are told in one sentence.
    """

    COLLECT_S = 1.0

    def __init__(self, name: str, order: int) -> None:
        self.name, self.order = name, order
        self.scheduled_at = INFINITY
        self.sources: list[Source] = []
        self.connected: bool | None = None
        self.silent: list[str] = []
        self.tell_at = INFINITY

    def deadline(self) -> float:
        return self.tell_at

    def fell_silent(self, heater: str, at: float) -> None:
        """Note one more silent heater (as PRINTER/HEATER)."""
        self.silent.append(heater)
        self.tell_at = min(self.tell_at, at + self.COLLECT_S)

    def take_silent(self) -> list[str]:
        """All that fell silent together, once."""
        names, self.silent, self.tell_at = self.silent, [], INFINITY
        return names

    def snapshot(self) -> JsonObject:
        return {"connected": self.connected, "silent": list(self.silent), "tell_at": to_plain(self.tell_at)}

    def restore(self, saved: JsonObject) -> None:
        self.connected, self.silent, self.tell_at = saved["connected"], list(saved["silent"]), from_plain(saved["tell_at"])
