"""All that the engine can ask of the world, in the order in which it must be done."""

from typing import Literal, NamedTuple, TypeAlias

from watchdog.core.latch import Latch
from watchdog.core.values import Numbers

Level = Literal["info", "warning", "alarm"]
"""info: for the record. warning: protection is less than it was, or a person should look. alarm: danger."""

EventKind = Literal[
    "trip",
    "also",
    "advice",
    "would have cut",
    "check failed",
    "check recovered",
    "observer failed",
    "relay ordered",
    "relay sent",
    "relay failed",
    "relay reachable",
    "relay unreachable",
    "relay notice",
    "cut confirmed",
    "cut proven",
    "cut not confirmed",
    "next relay",
    "sign of life",
    "fed another way",
    "source lost",
    "source back",
    "source contradiction",
    "source notice",
    "settings",
    "latch",
    "readings stopped",
    "readings resumed",
    "unusable",
    "burst",
    "second publisher",
    "reset",
    "reset refused",
    "probation",
    "probation passed",
    "suspended",
    "late",
    "observing",
    "armed",
    "bypass",
    "bypass over",
    "bypass refused",
    "access",
]


class Mark(NamedTuple):
    """First of all: put the mark of this printer, so that a killed guard comes back latched."""

    printer: str


class RelayOrder(NamedTuple):
    """Command a relay OFF. The only order there is: nothing in the engine ever switches on."""

    relay: str
    order: int
    printer: str


class LatchChange(NamedTuple):
    """The latch of a printer to be stored for good; None releases it."""

    printer: str
    latch: Latch | None


class Event(NamedTuple):
    """Something for the record and perhaps for people: one plain sentence and the numbers behind it."""

    at: float
    kind: EventKind
    level: Level
    sentence: str
    printer: str = ""
    heater: str = ""
    check: str = ""
    trip: str = ""
    relay: str = ""
    source: str = ""
    person: str = ""
    numbers: Numbers = {}  # noqa: RUF012 - never written to


Output: TypeAlias = Mark | RelayOrder | LatchChange | Event
