"""The engine's memory of a whole site, and how it is saved and brought back."""

from collections.abc import Iterable

from watchdog.core.heater import Heater
from watchdog.core.heater_memory import bring_back, kept
from watchdog.core.outputs import Event, EventKind, Level
from watchdog.core.plan import SitePlan
from watchdog.core.power import Power
from watchdog.core.printer import Printer
from watchdog.core.source import Link, Source
from watchdog.core.timeline import Timed, Timeline
from watchdog.core.values import JsonObject, Numbers

SNAPSHOT_FORMAT = 5

WARMING = ("bed", "chamber")
"""Heaters that warm others of the same printer. A hotend is too small to."""


class Site:
    """All printers, heaters, sources, links and relays, and the timeline of their deadlines."""

    def __init__(self, plan: SitePlan, at: float, run: str) -> None:
        self.plan, self.run, self.now = plan, run, at
        self.power = Power(plan.relays)
        self.timeline = Timeline()
        self.sources: dict[str, Source] = {}
        self.links: dict[str, Link] = {}
        self.heaters: dict[tuple[str, str], Heater] = {}
        self.printers: dict[str, Printer] = {}
        self.by_source: dict[str, list[Heater]] = {}
        self.by_relay: dict[str, list[Printer]] = {}
        self.unusable_told: dict[tuple[str, str], float] = {}
        self.unknown = 0
        self.trips = 0
        self.tells_unheard = True  # nothing fresh of a heater that was never heard is news
        self.observes = False  # somebody only observes: heating time counts
        self._build(at)

    def _build(self, at: float) -> None:
        order = 0
        for printer_plan in self.plan.printers:
            heaters = []
            for plan in printer_plan.heaters:
                order += 1
                heater = Heater(printer_plan.name, plan, self._source(plan.source.name, Source(plan.source), order), at)
                heater.order = order
                self.heaters[printer_plan.name, plan.name] = heater
                self.by_source.setdefault(heater.source.name, []).append(heater)
                heaters.append(heater)
            for heater in heaters:
                heater.siblings = tuple(heaters)
                heater.neighbours = tuple(other for other in heaters if other is not heater and other.plan.kind in WARMING)
            order += 1
            printer = self.printers[printer_plan.name] = Printer(printer_plan, heaters, order)
            for relay in printer.relays:
                self.by_relay.setdefault(relay, []).append(printer)
        for link in self.links.values():
            order += 1
            link.order = order
        self.power.order = order + 1
        self.look_who_observes()
        self.schedule_all()

    def _source(self, name: str, new: Source, order: int) -> Source:
        source = self.sources.setdefault(name, new)
        if source is new:
            self.links.setdefault(source.link, Link(source.link, order)).sources.append(source)
        return source

    def look_who_observes(self) -> None:
        """Somebody begins to observe, or is armed."""
        self.observes = any(printer.observing.left_s for printer in self.printers.values())

    def schedule_all(self) -> None:
        """Look at every deadline anew."""
        everything: list[Timed] = [*self.heaters.values(), *self.printers.values(), *self.links.values(), self.power]
        for timed in everything:
            self.timeline.schedule(timed)

    def relays_moved(self, relays: Iterable[str]) -> None:
        """Who is in the dark now, of those behind these relays, and when must the power logic be asked again."""
        for relay in relays:
            for printer in self.by_relay.get(relay, ()):
                dark = self.power.darkens(printer.plan.relays)
                for heater in printer.heaters:
                    heater.darkened = dark
        self.timeline.schedule(self.power)

    def snapshot(self) -> JsonObject:
        """Everything that decides what comes next, as plain JSON values."""
        return {
            "format": SNAPSHOT_FORMAT,
            "now": self.now,
            "trips": self.trips,
            "heaters": [[*key, kept(heater)] for key, heater in self.heaters.items()],
            "printers": {name: printer.snapshot() for name, printer in self.printers.items()},
            "sources": {name: source.snapshot() for name, source in self.sources.items()},
            "links": {name: link.snapshot() for name, link in self.links.items()},
            "power": self.power.snapshot(),
            "unusable_told": [[*key, at] for key, at in self.unusable_told.items()],
        }

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot` under the same plan; ValueError for a format of another time."""
        if saved.get("format") != SNAPSHOT_FORMAT:
            raise ValueError(f"snapshot format {saved.get('format')!r}, this version reads {SNAPSHOT_FORMAT}")
        self.now, self.trips = saved["now"], saved["trips"]
        for printer, name, state in saved["heaters"]:
            bring_back(self.heaters[printer, name], state)
        for name, state in saved["printers"].items():
            self.printers[name].restore(state)
        for name, state in saved["sources"].items():
            self.sources[name].restore(state)
        for name, state in saved["links"].items():
            self.links[name].restore(state)
        self.power.restore(saved["power"], {key: heater.plan.cooling for key, heater in self.heaters.items()})
        self.unusable_told = {(printer, heater): at for printer, heater, at in saved["unusable_told"]}
        self.look_who_observes()
        self.schedule_all()


def heater_event(
    heater: Heater, at: float, kind: EventKind, level: Level, sentence: str, numbers: Numbers | None = None, check: str = ""
) -> Event:
    """An event about one heater."""
    return Event(at, kind, level, sentence, printer=heater.printer, heater=heater.heater, check=check, numbers=numbers or {})
