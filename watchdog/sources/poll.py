"""Readings polled over HTTP: one page, one thread, whatever the number of heaters that read it."""

import threading
from collections import Counter
from collections.abc import Callable, Sequence
from math import floor
from typing import TYPE_CHECKING

from watchdog.core.inputs import SourceReport
from watchdog.core.values import JsonObject
from watchdog.fetch.failure import NoAnswerError
from watchdog.settings.addresses import Page
from watchdog.sources.mqtt_handlers import Counters, Handler, Subscription, reading_handlers
from watchdog.sources.notes import Note, Notes
from watchdog.sources.sink import Sink
from watchdog.wire.plain_text import printable

if TYPE_CHECKING:
    from watchdog.sources.poll_client import PageClient

LONGEST_NOTE = 300
LOST_AFTER = 2
"""So many requests in a row without readings: one answer that is lost is no page that is lost."""


class PollSource:
    """Asks a page every `every_s` and puts what the feeds of `subscriptions` find in the answer into `sink`.

    Raises ValueError for a feed that cannot work; nothing raises later. `link` is the name by which the engine knows the page:
    all behind it are lost together, and come back together. A failure is noted once for as long as it stays the same. `now` gives
    engine seconds. The time of a reading is that of its receipt, whatever the page says of its own age.
    """

    def __init__(
        self,
        name: str,
        page: Page,
        subscriptions: Sequence[Subscription],
        sink: Sink,
        now: Callable[[], float],
        on_note: Note,
        *,
        link: str,
    ) -> None:
        self.name = name
        self.counters = Counters()
        self.polls = 0
        self.failures: Counter[str] = Counter()
        self._page, self._sink, self._now, self._link = page, sink, now, link
        self._notes = Notes(now, on_note)
        make = reading_handlers(sink, now, self.counters)
        self._handlers: list[Handler] = [make(subscription) for subscription in subscriptions]
        self._connected: bool | None = None
        self._failing = ""
        self._why = ""
        self._failed_in_a_row = 0
        self._client: PageClient | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"page {name}", daemon=True)

    def start(self) -> None:
        """Begin to ask; returns at once."""
        self._thread.start()

    def stop(self, within_s: float = 2.0) -> bool:
        """Ask no more, and break off what is under way; true if the thread ended in time."""
        self._stopping.set()
        if self._client is not None:
            self._client.interrupt()
        if self._thread.is_alive():
            self._thread.join(within_s)
        return not self._thread.is_alive()

    def tend(self) -> None:
        """Nothing to tend: the thread outlives whatever happens in it."""

    def told(self) -> JsonObject:
        """For `status`: how often it was asked, how often that failed and how, and why it fails now, if it does."""
        return {"name": self.name, "polls": self.polls, "failures": dict(self.failures), "why": self._why}

    def _run(self) -> None:
        due = self._now()
        while not self._stopping.wait(max(due - self._now(), 0.0)):
            try:
                self._poll()
            except Exception as problem:  # noqa: BLE001 - the one thread that asks this page must not die
                self._failed("error", f"error: {type(problem).__name__}: {problem}")
            # Times that went by during a slow answer are left out: a slow page is not asked all the more.
            late_s = max(self._now() - due, 0.0)
            due += self._page.every_s * (1 + floor(late_s / self._page.every_s))
        if self._client is not None:
            self._client.close()

    def _poll(self) -> None:
        self.polls += 1
        try:
            body = self._ready_client().ask()
        except NoAnswerError as problem:
            self._failed(problem.kind, str(problem))
            return
        before = self.counters.readings
        for handle in self._handlers:
            handle(body, False)
        if self.counters.readings > before:
            self._good()
        else:
            self._failed("no reading", f"its answer holds no reading: {printable(body[:200], 60) or 'it is empty'}")

    def _ready_client(self) -> "PageClient":
        if self._client is None:
            # Here and so late: loading it takes longer than all else on the way to a first reading over MQTT.
            from watchdog.sources.poll_client import PageClient  # noqa: PLC0415 - see above

            self._client = PageClient(self._page, self._now)
        return self._client

    def _good(self) -> None:
        if self._failing:
            self._notes.note("again", "info", f"page {self.name}: readings again, after {self._failed_in_a_row} requests without")
        self._failing = self._why = ""
        self._failed_in_a_row = 0
        self._report(connected=True, why="")

    def _failed(self, kind: str, why: str) -> None:
        if self._stopping.is_set():
            return
        self.failures[kind] += 1
        self._failed_in_a_row += 1
        self._why = printable(why, LONGEST_NOTE)
        if kind != self._failing:
            self._failing = kind
            self._notes.note(kind, "warning", f"page {self.name}: no readings: {self._why}")
        self._report(connected=False, why=self._why)

    def _report(self, *, connected: bool, why: str) -> None:
        if connected is not self._connected and (connected or self._connected is None or self._failed_in_a_row >= LOST_AFTER):
            self._connected = connected
            self._sink.report(SourceReport(self._link, self._now(), connected=connected, why=why))
