"""Whether readings come by exactly one way: over a broker, pushed, or from a page; and nothing is said that this way does not heed."""

from collections.abc import Iterator
from dataclasses import MISSING, fields
from typing import Any, Final

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.feeds import Meter, Readings, Way
from watchdog.settings.sheet import Sheet

UNHEEDED: Final[dict[Way, tuple[str, ...]]] = {
    "broker": (),
    "pushed": (
        "presence",
        "form",
        "fields",
        "pointer",
        "pattern",
        "unit",
        "duty_full",
        "off_words",
        "not_readings",
        "numbers_as_text",
    ),
    "page": ("presence", "reports"),
}
"""By way: the keys that mean nothing there. What is pushed has its form fixed, and only a broker hears of a presence."""

_HINTS: Final[dict[Way, str]] = {
    "broker": "",
    "pushed": "what is pushed has one form: numbers in degrees Celsius, a duty from 0 to 1, watts",
    "page": "a page is asked at regular times, and shows by its answer that it is there",
}


def ways(sheet: Sheet, file: str, path: KeyPath, feed: Readings | Meter) -> Iterator[Draft]:
    """All that can be wrong with the way by which `feed` comes."""
    given = [key for key in ("broker", "topic", "pushed", "page") if getattr(feed, key)]
    over_broker = "broker" in given or "topic" in given
    if not given:
        yield Draft(file, path, "no-source")
        return
    if over_broker + feed.pushed + bool(feed.page) > 1:
        yield Draft(file, (*path, given[-1]), "two-sources", said={"ways": " and ".join(given)})
        return
    if over_broker and not feed.broker:
        yield Draft(file, (*path, "broker"), "missing-key")
    if feed.page and sheet.main and feed.page not in sheet.page_names:
        yield Draft(file, (*path, "page"), "unknown-page", feed.page, names=sheet.page_names)
    for key in UNHEEDED[feed.way]:
        if _chosen(feed, key):
            yield Draft(file, (*path, key), "unheeded-key", said={"key": key, "way": feed.way, "hint": _HINTS[feed.way]})


def _chosen(feed: Readings | Meter, key: str) -> bool:
    """True when `key` was given another value than its default."""
    entry: Any = next((entry for entry in fields(feed) if entry.name == key), None)
    return entry is not None and entry.default is not MISSING and getattr(feed, key) != entry.default
