"""What happens in the workshop and what the guard makes of it, in a few plain words: happens, seen, cut, confirmed."""

from collections.abc import Iterable
from typing import NamedTuple

from watchdog.cli.show.printers import Part
from watchdog.recorder.rows import EventRow

WORDS: dict[str, str] = {
    "trip": "seen",
    "also": "seen",
    "advice": "seen",
    "relay ordered": "cut",
    "cut confirmed": "confirmed",
    "cut proven": "confirmed",
}
"""What a newcomer is told of. The record holds all of it; whatever else is alarming is told too."""

HAPPENS = "happens"
ORDER = (HAPPENS, "seen", "cut", "confirmed")
"""What is told first of things at the same time. The guard itself orders OFF before it tells why."""

SAME_S = 0.1


class Line(NamedTuple):
    """One thing to tell. Seconds of the workshop since the show began."""

    at_s: float
    printer: str
    word: str
    text: str


def happened(parts: Iterable[Part], after_s: float, until_s: float) -> list[Line]:
    """What befell the printers in that time."""
    return [
        Line(happening.at_s, part.name, HAPPENS, happening.told)
        for part in parts
        for happening in part.happenings
        if after_s < happening.at_s <= until_s
    ]


def told(events: Iterable[EventRow], began: float) -> list[Line]:
    """What the guard put on record since `began`, engine seconds, as far as it matters here."""
    lines = []
    for event in events:
        word = WORDS.get(event.kind) or ("alarm" if event.level == "alarm" else "")
        if word:
            text = f"{event.check}: {event.sentence}" if event.kind == "trip" else event.sentence
            lines.append(Line(event.at.engine_s - began, event.printer, word, text))
    return lines


def in_order(lines: Iterable[Line]) -> list[Line]:
    """By time; what is at the same time in the order in which people understand it."""
    return sorted(lines, key=lambda line: (round(line.at_s / SAME_S), line.printer, ORDER.index(line.word) if line.word in ORDER else 0))
