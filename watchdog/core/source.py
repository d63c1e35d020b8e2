"""What is known of one source of readings."""

from collections.abc import Iterable
from typing import ClassVar, Literal

from watchdog.core.plan import SourcePlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

News = Literal["source lost", "source back", "readings stopped"]


class Source:
    """One publisher. Implements SourceView."""

    STATE: ClassVar[tuple[str, ...]] = ("alive_at", "connected", "gone", "lost")

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
    """A connection that sources share. What is lost, comes back or falls silent together is one event.

    News of the same kind within `COLLECT_S` are told in one sentence.
    """

    COLLECT_S = 1.0

    def __init__(self, name: str, order: int) -> None:
        self.name, self.order = name, order
        self.scheduled_at = INFINITY
        self.sources: list[Source] = []
        self.tell_at = INFINITY
        self._news: dict[News, tuple[list[str], str]] = {}

    @property
    def connected(self) -> bool | None:
        """True when all sources behind it can be heard, False when one cannot, None before the first word."""
        states = [source.connected for source in self.sources]
        return False if False in states else None if None in states else True

    def deadline(self) -> float:
        return self.tell_at

    def hear(self, at: float, kind: News, names: Iterable[str], why: str = "") -> None:
        """Note news about PRINTER or PRINTER/HEATER; the first reason stands for all."""
        told, first_why = self._news.setdefault(kind, ([], why))
        told.extend(name for name in names if name not in told)
        self._news[kind] = (told, first_why or why)
        self.tell_at = min(self.tell_at, at + self.COLLECT_S)

    def take_news(self) -> dict[News, tuple[list[str], str]]:
        """All that is to be told, once."""
        news, self._news, self.tell_at = self._news, {}, INFINITY
        return news

    def snapshot(self) -> JsonObject:
        return {"news": [[kind, list(names), why] for kind, (names, why) in self._news.items()], "tell_at": to_plain(self.tell_at)}

    def restore(self, saved: JsonObject) -> None:
        self._news = {kind: (list(names), why) for kind, names, why in saved["news"]}
        self.tell_at = from_plain(saved["tell_at"])
