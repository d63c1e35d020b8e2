"""One log through a fresh engine: what would have tripped, what would have been advised, and how near each check came."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from watchdog.core.engine import Engine
from watchdog.core.outputs import Event, Output
from watchdog.core.plan import SitePlan
from watchdog.core.values import JsonObject
from watchdog.sources.recordings import Recording, RecordingError

EVERY_ROWS = 5000
"""Progress is told this often."""

REPORTED = ("advice", "readings stopped", "would have cut", "check failed", "second publisher", "burst")
"""Kinds of events that count as advisories."""


@dataclass(slots=True)
class Verdict:
    """What came of one log. Times are the log's own stamps."""

    log: str
    readings: int = 0
    first: str = ""
    last: str = ""
    trips: list[JsonObject] = field(default_factory=list)
    advisories: list[JsonObject] = field(default_factory=list)
    headroom: dict[str, dict[str, dict[str, float]]] = field(default_factory=dict)
    unknown: int = 0
    unreadable: int = 0
    first_unreadable: str = ""
    unseen: tuple[str, ...] = ()
    late: int = 0
    set_back: int = 0
    strangers: tuple[str, ...] = ()

    def to_json(self) -> JsonObject:
        """The object of the replay interface."""
        return {
            "log": self.log,
            "readings": self.readings,
            "first": self.first,
            "last": self.last,
            "trips": self.trips,
            "advisories": self.advisories,
            "headroom": self.headroom,
        }


def without_relays(plan: SitePlan) -> SitePlan:
    """The same site with nothing to switch: a replay commands nobody."""
    printers = tuple(
        replace(printer, relays=(), heaters=tuple(replace(heater, relays=()) for heater in printer.heaters)) for printer in plan.printers
    )
    return replace(plan, printers=printers, relays=())


def replay(plan: SitePlan, recording: Recording, progress: Callable[[int], None] = lambda _bytes: None) -> Verdict:
    """Feed a whole log. Raises RecordingError for a log that cannot be read, or in which nothing is of this site.

    `progress` is told how many bytes of the file have been read.
    """
    verdict = Verdict(recording.path.name)
    quiet_plan = without_relays(plan)
    known = {(printer.name, heater.name) for printer in plan.printers for heater in printer.heaters}
    known |= {(printer.name, "") for printer in plan.printers}
    strangers: dict[tuple[str, str], None] = {}
    engine: Engine | None = None
    stamp, count, unknown = "", 0, 0
    for stamp, reading in recording.rows():
        if engine is None:
            engine = Engine(quiet_plan, reading.at, run=verdict.log)
            feed, site = engine.feed, engine.site
            site.tells_unheard = False  # a log need not hold every printer of the site
            verdict.first = stamp
        count += 1
        if count % EVERY_ROWS == 0:
            progress(recording.bytes_read)
        outputs = feed(reading)
        if outputs:
            _note(verdict, outputs, recording, stamp)
        if site.unknown != unknown:
            unknown = site.unknown
            strangers[reading.printer, reading.heater] = None
    verdict.readings, verdict.last = count, stamp
    verdict.unreadable, verdict.late, verdict.set_back = recording.tally.unreadable, recording.clock.late, recording.clock.set_back
    verdict.strangers = tuple("/".join(key).rstrip("/") for key in strangers)
    if engine is None:
        raise RecordingError(f"{recording.path}: no readings in it")
    verdict.unknown = engine.site.unknown
    if verdict.unknown == verdict.readings:
        names = ", ".join(sorted("/".join(key) for key in known if key[1]))
        raise RecordingError(
            f"{recording.path}: none of its heaters is in the settings (found {', '.join(verdict.strangers[:5])}; known are {names})"
        )
    verdict.first_unreadable = recording.tally.first_unreadable
    spoken = {"/".join(key): heater.heard_live for key, heater in engine.site.heaters.items() if heater.readings}
    verdict.unseen = tuple(name for name, heard in spoken.items() if not heard)
    if spoken and verdict.unreadable and not any(spoken.values()):
        raise RecordingError(f"{recording.path}: no temperature in it could be read, so nothing was judged: {verdict.first_unreadable}")
    verdict.headroom = _of_heard(engine)
    return verdict


def _of_heard(engine: Engine) -> dict[str, dict[str, dict[str, float]]]:
    """How near each check came, of the heaters that the log tells of."""
    heard = {key for key, heater in engine.site.heaters.items() if heater.readings}
    report: dict[str, dict[str, dict[str, float]]] = {}
    for printer, heaters in engine.take_headroom().items():
        for heater, checks in heaters.items():
            if (printer, heater) in heard:
                report.setdefault(printer, {})[heater] = checks
    return report


def _note(verdict: Verdict, outputs: list[Output], recording: Recording, stamp: str) -> None:
    for output in outputs:
        if not isinstance(output, Event):
            continue
        if output.kind == "trip":
            verdict.trips.append(_entry(output, recording, stamp))
        elif output.kind in REPORTED:
            verdict.advisories.append(_entry(output, recording, stamp))


def _entry(event: Event, recording: Recording, stamp: str) -> JsonObject:
    return {
        "time": recording.stamp_at(event.at, stamp),
        "printer": event.printer,
        "heater": event.heater,
        "check": event.check or event.kind,
        "reason": event.sentence,
    }
