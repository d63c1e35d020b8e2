"""Which sources can be heard: a source is linked once the broker has granted every topic of it."""

from collections.abc import Callable, Iterable

from watchdog.core.inputs import SourceReport
from watchdog.sources.sink import Sink


class Links:
    """Keeps what was last reported of each source behind one connection, and reports what changes."""

    def __init__(self, wanted: Iterable[tuple[str, str]], sink: Sink, now: Callable[[], float]) -> None:
        """`wanted`: pairs of source and topic."""
        self._topics: dict[str, set[str]] = {}
        for source, topic in wanted:
            self._topics.setdefault(source, set()).add(topic)
        self._granted: set[str] = set()
        self._refused: dict[str, str] = {}
        self._reported: dict[str, tuple[bool, str]] = {}
        self._sink = sink
        self._now = now

    def lost(self, why: str) -> bool:
        """The connection is gone, or could not be made; true if that is news."""
        self._granted.clear()
        self._refused.clear()
        news = [self._report(source, connected=False, why=why) for source in self._topics]
        return any(news)

    def grant(self, topics: Iterable[str]) -> None:
        """The broker accepted these subscriptions."""
        for topic in topics:
            self._granted.add(topic)
            self._refused.pop(topic, None)
        for source, its in self._topics.items():
            if its <= self._granted:
                self._report(source, connected=True, why="")

    def refuse(self, topic: str, why: str) -> None:
        """The broker refused this subscription."""
        self._refused[topic] = why
        self._granted.discard(topic)
        for source, its in self._topics.items():
            if topic in its:
                self._report(source, connected=False, why=why)

    def refused(self) -> list[str]:
        """The topics that stand refused."""
        return list(self._refused)

    def _report(self, source: str, *, connected: bool, why: str) -> bool:
        if self._reported.get(source) == (connected, why):
            return False
        self._reported[source] = (connected, why)
        self._sink.report(SourceReport(source, self._now(), connected=connected, why=why))
        return True
