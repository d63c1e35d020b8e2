"""What happens to a message: one topic to the handlers of its heaters, compiled once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeAlias

from watchdog.core.inputs import Reading, SourceReport, Unusable
from watchdog.sources.sink import Sink
from watchdog.wire.feed import Feed
from watchdog.wire.payload import KINDS, Decoder, Judged, Kind, Rejected
from watchdog.wire.topics import check_exact_topic

Handler: TypeAlias = Callable[[bytes, bool], None]
"""Takes a payload and whether the broker had retained it. May raise: its caller counts that."""

Judge: TypeAlias = Callable[[bytes], Judged | Rejected]

CONNECTS_KEPT: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Subscription:
    """One feed of one heater: `source` is the name the engine knows its publisher by. No heater: the printer's metered power."""

    printer: str
    heater: str
    source: str
    feed: Feed


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """Where the publisher behind `source`, or its last will, says whether it is there."""

    source: str
    topic: str
    here: str = "here"
    gone: str = "gone"


class Counters:
    """Written by the network thread alone, read by any."""

    __slots__ = ("connects", "duplicates", "errors", "flawed", "messages", "readings", "rejected", "strays")

    def __init__(self) -> None:
        self.messages = 0
        self.readings = 0
        self.rejected: dict[Kind, int] = dict.fromkeys(KINDS, 0)
        self.flawed = 0
        """Readings of which a value had to be left out."""
        self.duplicates = 0
        self.strays = 0
        """Messages on topics nobody asked for, and presence texts nobody declared."""
        self.errors = 0
        """Exceptions caught in a callback: faults of the program, each of them."""
        self.connects = 0


def compile_handlers(
    subscriptions: Sequence[Subscription],
    presences: Sequence[Presence],
    sink: Sink,
    now: Callable[[], float],
    counters: Counters,
) -> dict[str, tuple[Handler, ...]]:
    """Each topic's handlers. Raises ValueError for a topic that is not exact or a feed that cannot work."""
    handlers: dict[str, tuple[Handler, ...]] = {}
    reading_handler = reading_handlers(sink, now, counters)
    for subscription in subscriptions:
        topic = subscription.feed.topic
        check_exact_topic(topic)
        handlers[topic] = (*handlers.get(topic, ()), reading_handler(subscription))
    for presence in presences:
        check_exact_topic(presence.topic)
        handlers[presence.topic] = (*handlers.get(presence.topic, ()), _presence_handler(presence, sink, now, counters))
    return handlers


def reading_handlers(sink: Sink, now: Callable[[], float], counters: Counters) -> Callable[[Subscription], Handler]:
    """What makes the handler of a subscription: decode, judge, hand over.

    A message that is partly usable gives both a reading and a word on what was left out. Handlers share whatever is not their
    own: with hundreds of heaters, what each message touches must find room in the caches of the processor.
    """
    put, rejected, new = sink.reading, counters.rejected, tuple.__new__
    judges: dict[Feed, Judge] = {}

    def handle(printer: str, heater: str, sensor: str, judge: Judge, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - hot
        judged = judge(payload)
        if isinstance(judged, Rejected):
            rejected[judged.kind] += 1
            put(Unusable(printer, heater, now(), judged.why))
            return
        temperature, target, unknown, duty, power, flaw = judged
        counters.readings += 1
        # As Reading(...), which would take twice the time for the same value.
        put(new(Reading, (printer, heater, now(), temperature, target, duty, power, sensor, unknown, retained)))
        if flaw is not None:
            counters.flawed += 1
            put(Unusable(printer, heater, now(), flaw.why))

    def handler(subscription: Subscription) -> Handler:
        feed = subscription.feed if subscription.heater else _power_only(subscription.feed)
        alike = replace(feed, topic="", sensor="")
        if alike not in judges:
            judges[alike] = Decoder(feed).judge
        return partial(handle, subscription.printer, subscription.heater, feed.sensor, judges[alike])

    return handler


def _power_only(feed: Feed) -> Feed:
    """The feed of a printer's meter: nothing but power counts, whatever else the message holds."""
    return replace(feed, fields=replace(feed.fields, temperature=None, target=None, duty=None)) if feed.form == "json" else feed


def _presence_handler(presence: Presence, sink: Sink, now: Callable[[], float], counters: Counters) -> Handler:
    """A live "here" proves life. A retained one may be old and proves nothing; a "gone" is a hint either way."""
    here, gone = presence.here.encode(), presence.gone.encode()

    def handle(payload: bytes, retained: bool) -> None:  # noqa: FBT001 - as above
        if payload == gone:
            sink.report(SourceReport(presence.source, now(), alive=False, why=f"it says {presence.gone}, or its last will does"))
        elif payload != here:
            counters.strays += 1
        elif not retained:
            sink.report(SourceReport(presence.source, now(), alive=True))

    return handle
