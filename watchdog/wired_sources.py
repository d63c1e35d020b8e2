"""Settings to running sources: the part of the wiring that brings readings in."""

from collections.abc import Callable, Iterable

from watchdog.core.outputs import Event
from watchdog.guard.inbox import Inbox
from watchdog.guard.journal import Journal
from watchdog.settings.assemble import HeaterFeed, feeds_by_broker, feeds_by_page, page_link
from watchdog.settings.model import Settings
from watchdog.sources.mqtt import MqttSource
from watchdog.sources.mqtt_handlers import Presence, Subscription
from watchdog.sources.poll import PollSource


def _noter(name: str, inbox: Inbox, journal: Journal, now: Callable[[], float]) -> Callable[[str, str], None]:
    """What a source has to say for log and record; from its own thread."""

    def note(level: str, text: str) -> None:
        event = Event(now(), "source notice", "warning" if level == "warning" else "info", text, source=name)
        inbox.call(lambda: journal.event(event))

    return note


def _subscriptions(feeds: Iterable[HeaterFeed]) -> list[Subscription]:
    return [Subscription(printer=feed.printer, heater=feed.heater, source=feed.source, feed=feed.feed) for feed in feeds]


def pages_of(settings: Settings, inbox: Inbox, journal: Journal, now: Callable[[], float]) -> list[PollSource]:
    """A source for each page of which somebody reads."""
    found = []
    for name, feeds in feeds_by_page(settings).items():
        link, page = page_link(name), settings.main.pages[name]
        found.append(PollSource(name, page, _subscriptions(feeds), inbox, now, _noter(link, inbox, journal, now), link=link))
    return found


def brokers_of(settings: Settings, inbox: Inbox, journal: Journal, now: Callable[[], float]) -> list[MqttSource]:
    """A source for each broker that carries readings."""
    sources = []
    for name, feeds in feeds_by_broker(settings).items():
        presences = [
            Presence(source=feed.source, topic=feed.presence.topic, here=feed.presence.here, gone=feed.presence.gone)
            for feed in feeds
            if feed.presence is not None
        ]
        topic = f"heatwarden/{settings.main.site}/presence"
        note = _noter(name, inbox, journal, now)
        broker = settings.main.brokers[name]
        sources.append(MqttSource(name, broker, _subscriptions(feeds), inbox, now, note, presences=presences, presence_topic=topic))
    return sources
