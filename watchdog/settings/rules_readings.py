"""Whether readings are found where they are said to be, and every heater has a voice of its own."""

import re
from collections.abc import Iterator
from dataclasses import fields

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.feeds import Meter, Readings
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.relay_tables import MqttRelayTable
from watchdog.settings.rules_ways import ways
from watchdog.settings.sheet import Sheet, printer_file
from watchdog.settings.topics import bad_topic, pointer_problem
from watchdog.wire.feed import Fields

GROUPS = tuple(field.name for field in fields(Fields))

_UNCLEAR = {"no-source", "two-sources", "missing-key"}
"""After one of these nobody can say where the readings come from."""


def readings(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with readings, meters, and the topics that they share with relays."""
    taken: dict[tuple[str, str, str], str] = {}
    for file, path, feed in feeds(sheet):
        wrong = list(ways(sheet, file, path, feed))
        yield from wrong
        if feed.way == "pushed" or _UNCLEAR & {draft.code for draft in wrong}:
            continue  # the place of what is pushed is its name
        yield from _feed(sheet, file, path, feed)
        pick = "text" if feed.form == "text" else _pointer(feed)
        place = (f"page {feed.page}", "") if feed.way == "page" else (sheet.endpoint(feed.broker), feed.topic)
        claim = (*place, f"{'power' if isinstance(feed, Meter) else 'temperature'} {pick}")
        who = f"{file} {'.'.join(path)}"
        if taken.setdefault(claim, who) != who:
            key, found = ("page", feed.page) if feed.way == "page" else ("topic", feed.topic)
            yield Draft(file, (*path, key), "topic-twice", found, said={"other": taken[claim]})
    yield from _relay_topics(sheet)


def feeds(sheet: Sheet) -> Iterator[tuple[str, tuple[str, ...], Readings | Meter]]:
    """File, place and description of everything that is listened to."""
    for file, name, heater in sheet.heaters():
        yield file, ("heaters", name, "readings"), heater.readings
        for sensor, entry in heater.sensors.items():
            yield file, ("heaters", name, "sensors", sensor), entry
    for printer, table in sheet.printers.items():
        if table.meter:
            yield printer_file(printer), ("meter",), table.meter


def _pointer(feed: Readings | Meter) -> str:
    return feed.pointer if isinstance(feed, Meter) else str(feed.fields.temperature)


def _feed(sheet: Sheet, file: str, path: tuple[str, ...], feed: Readings | Meter) -> Iterator[Draft]:
    if feed.way == "broker":
        if sheet.main and feed.broker not in sheet.broker_names:
            yield Draft(file, (*path, "broker"), "unknown-broker", feed.broker, names=sheet.broker_names)
        yield from bad_topic(file, (*path, "topic"), feed.topic)
    else:
        yield from _asked_often_enough(sheet, file, path, feed)
    if feed.presence and feed.way == "broker":
        yield from bad_topic(file, (*path, "presence", "topic"), feed.presence.topic)
        if feed.presence.here == feed.presence.gone:
            yield Draft(file, (*path, "presence", "gone"), "same-words", feed.presence.gone, said={"words": "here and gone"})
    if isinstance(feed, Meter):
        yield from pointer_problem(file, (*path, "pointer"), feed.pointer)
    else:
        for group in GROUPS:
            yield from pointer_problem(file, (*path, "fields", group), getattr(feed.fields, group))
    yield from _pattern(file, (*path, "pattern"), feed)


def _asked_often_enough(sheet: Sheet, file: str, path: KeyPath, feed: Readings | Meter) -> Iterator[Draft]:
    """A page is heard once in `every_s`, and its answer may take `time_limit_s`: a healthy one is never silent for longer."""
    page = sheet.main.pages.get(feed.page) if sheet.main else None
    if page is not None and page.every_s + page.time_limit_s > feed.longest_interval_s:
        said = {"page": feed.page, "every": f"{page.every_s:g}", "limit": f"{page.time_limit_s:g}"}
        yield Draft(file, (*path, "longest_interval_s"), "page-too-slow", feed.longest_interval_s, said=said)


def _pattern(file: str, path: KeyPath, feed: Readings | Meter) -> Iterator[Draft]:
    if feed.form == "json":
        if feed.pattern:
            yield Draft(file, path, "pattern-unused")
        return
    if not feed.pattern:
        yield Draft(file, path, "pattern-missing")
        return
    try:
        groups = re.compile(feed.pattern).groupindex
    except (re.error, RecursionError, OverflowError) as error:
        yield Draft(file, path, "pattern-broken", feed.pattern, said={"error": error})
        return
    needed = "power" if isinstance(feed, Meter) else "temperature"
    if needed not in groups:
        yield Draft(file, path, "pattern-groups", feed.pattern, said={"group": needed})
    for group in groups:
        if group not in GROUPS:
            yield Draft(file, path, "pattern-unknown-group", group, names=GROUPS)


def _relay_topics(sheet: Sheet) -> Iterator[Draft]:
    """No relay reports where a heater does, and nothing else is ever said where a relay takes its orders."""
    if sheet.main is None:
        return
    over_brokers = [(file, path, feed) for file, path, feed in feeds(sheet) if feed.way == "broker"]
    heard = {(sheet.endpoint(feed.broker), feed.topic): f"{file} {'.'.join(path)}" for file, path, feed in over_brokers}
    of_heaters = {topic: who for topic, who in heard.items() if not who.endswith(" meter")}
    mqtt = {name: relay for name, relay in sheet.main.relays.items() if isinstance(relay, MqttRelayTable)}
    for name, relay in mqtt.items():
        for key in ("echo", "meter", "presence"):
            table = getattr(relay, key)
            if table:
                topic = (sheet.endpoint(relay.broker), table.topic)
                heard.setdefault(topic, f"{MAIN_FILE} relays.{name}.{key}")
                if topic in of_heaters:
                    path = ("relays", name, key, "topic")
                    yield Draft(MAIN_FILE, path, "relay-topic-has-readings", table.topic, said={"other": of_heaters[topic]})
    for name, relay in mqtt.items():
        topic = (sheet.endpoint(relay.broker), relay.order.topic)
        who = f"{MAIN_FILE} relays.{name}.order"
        if heard.setdefault(topic, who) != who:
            yield Draft(MAIN_FILE, ("relays", name, "order", "topic"), "order-topic-taken", relay.order.topic, said={"other": heard[topic]})
