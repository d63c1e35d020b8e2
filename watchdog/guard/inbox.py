"""Where network threads leave what they hear for the one loop. Bounded for each heater: a flood of one starves no other."""

import os
import select
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from watchdog.core.inputs import Reading, RelayReport, SourceReport, Unusable
from watchdog.core.values import JsonObject
from watchdog.wire.control import Request

LANE_LIMIT = 64
"""Readings of one heater that may wait; the oldest is dropped and counted."""


@dataclass(slots=True)
class Question:
    """A request of a client that the loop must answer. The client's thread waits on `answered`, the loop never does."""

    request: Request
    answered: threading.Event = field(default_factory=threading.Event)
    reply: JsonObject = field(default_factory=dict)
    _taken: threading.Lock = field(default_factory=threading.Lock)

    def take_up(self) -> bool:
        """For the loop, before it answers: False when the client has withdrawn it."""
        return self._taken.acquire(blocking=False)

    def withdraw(self) -> bool:
        """For the client: have it never done. False when the loop has taken it up already."""
        return self._taken.acquire(blocking=False)

    def answer(self, reply: JsonObject) -> None:
        """Hand the reply over."""
        self.reply = reply
        self.answered.set()


class Lane:
    """The readings of one heater that wait."""

    __slots__ = ("items", "waiting")

    def __init__(self) -> None:
        self.items: deque[Reading | Unusable] = deque(maxlen=LANE_LIMIT)
        self.waiting = False


class Inbox:
    """Many writers, one reader. Implements sources.sink.Sink."""

    def __init__(self) -> None:
        self._lanes: dict[tuple[str, str], Lane] = {}
        self._other = Lane()
        self._meters: dict[str, tuple[str, str]] = {}
        self._ready: deque[Lane] = deque()
        self._reports: deque[RelayReport | SourceReport] = deque()
        self._questions: deque[Question] = deque()
        self._calls: deque[Callable[[], None]] = deque()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._asleep = False
        self._pause = threading.Event()
        self.judge: Callable[[Reading | Unusable], bool] = lambda _: False
        """Asked while the loop sleeps: True when it has judged the reading at once, in the thread that brought it."""
        self.dropped = 0

    def watch(self, heaters: Iterable[tuple[str, str]]) -> None:
        """Give each heater (printer, heater) a lane of its own."""
        self._lanes.update((key, Lane()) for key in heaters)

    def watch_meters(self, meters: Mapping[str, tuple[str, str]]) -> None:
        """Take what these relays' meters say, by name, for the power of a printer and its heater ("": of all of it) as well."""
        self._meters.update(meters)

    def reading(self, reading: Reading | Unusable) -> None:
        if self._asleep and self.judge(reading):
            return
        lane = self._lanes.get((reading.printer, reading.heater), self._other)
        if len(lane.items) == LANE_LIMIT:
            self.dropped += 1
        lane.items.append(reading)
        if not lane.waiting:
            lane.waiting = True
            self._ready.append(lane)
        if self._asleep:
            self.ring()

    def report(self, report: RelayReport | SourceReport) -> None:
        if isinstance(report, RelayReport) and report.power_w is not None and report.relay in self._meters:
            printer, heater = self._meters[report.relay]
            sensor = report.relay if heater else ""
            self.reading(Reading(printer, heater, report.at, power_w=report.power_w, sensor=sensor, retained=report.retained))
        self._reports.append(report)
        if self._asleep:
            self.ring()

    def ask(self, question: Question) -> None:
        """A client's request."""
        self._questions.append(question)
        self.ring()

    def call(self, function: Callable[[], None]) -> None:
        """Have something of the guard's own done by the loop's thread."""
        self._calls.append(function)
        self.ring()

    def ring(self) -> None:
        """Wake the loop."""
        self._asleep = False
        os.eventfd_write(self._bell, 1)

    def waiting(self) -> bool:
        """True when there is something for the loop to do."""
        return bool(self._ready or self._reports or self._questions or self._calls)

    def settle(self, within_s: float, every_s: float) -> None:
        """For clients: return when nothing waits for the loop, looked at every so many seconds, or when the time is up."""
        for _ in range(int(within_s / every_s)):
            if not self.waiting():
                return
            self._pause.wait(every_s)

    def wait(self, timeout_s: float) -> None:
        """Sleep until something comes or the time is up. For the loop only."""
        self._asleep = True
        if timeout_s > 0.0 and not self.waiting():
            select.select([self._bell], [], [], timeout_s)
        self._asleep = False
        try:
            os.eventfd_read(self._bell)
        except BlockingIOError:
            return

    def reports(self) -> Iterator[RelayReport | SourceReport]:
        """Relay and source reports, first come first served; never dropped."""
        while self._reports:
            yield self._reports.popleft()

    def questions(self) -> Iterator[Question]:
        """Requests of clients."""
        while self._questions:
            yield self._questions.popleft()

    def calls(self) -> Iterator[Callable[[], None]]:
        """What the guard's own threads want done."""
        while self._calls:
            yield self._calls.popleft()

    def readings(self, limit: int, until: float) -> Iterator[Reading | Unusable]:
        """Up to about `limit` readings that came until then (engine seconds), lane by lane; younger ones wait for the next turn."""
        for _ in range(len(self._ready)):
            if limit <= 0:
                return
            lane = self._ready.popleft()
            lane.waiting = False
            items = lane.items
            try:
                for _ in range(len(items)):
                    if items[0].at > until:
                        break
                    limit -= 1
                    yield items.popleft()
            finally:
                if items and not lane.waiting:
                    lane.waiting = True
                    self._ready.append(lane)
