"""A real guard at work: its settings, its broker, plugs, printers, and what it says of them in status, log and record."""

import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from rig.broker import MosquittoBroker
from rig.guard import Guard
from rig.plug import Habits, Plug
from rig.printer import Printer
from rig.site import TOPIC, PlugTable, SiteTable

from watchdog.recorder.reader import Reader, RecordUnreadable
from watchdog.recorder.rows import EventRow, TripRow

LOOK_S = 0.02


def seconds() -> float:
    """The engine's clock: monotonic seconds, which all processes of a host share."""
    return time.monotonic_ns() / 1e9


def until(condition: Callable[[], Any], within_s: float = 8.0) -> Any:
    """The first true answer of `condition`; fails when there is none within `within_s`."""
    pause = threading.Event()
    ends = seconds() + within_s
    while not (found := condition()):
        assert seconds() < ends, f"did not happen within {within_s:g} s; the last answer was {found!r}"
        pause.wait(LOOK_S)
    return found


class Workshop:
    """Everything of one site. Parts that are started through it end with it."""

    def __init__(self, folder: Path, site: SiteTable, broker: MosquittoBroker) -> None:
        self.folder, self.site, self.broker = folder, site, broker
        self.plugs: dict[str, Plug] = {}
        self.printers: dict[str, Printer] = {}
        self.guard = Guard(folder / "config", folder / "state")
        self._stack = ExitStack()
        site.write(folder / "config", broker.port)

    def begin(self, *, habits: dict[str, dict[str, Any]] | None = None, quiet: tuple[str, ...] = ()) -> Self:
        """Plugs, printers (all but the `quiet` ones) and the guard. `habits` are those of plugs that differ from healthy ones."""
        for name, table in self.site.plugs.items():
            self.plug(table, **(habits or {}).get(name, {}))
        for printer in self.site.printers:
            if printer.name not in quiet:
                self.printer(printer.name)
        return self.begin_guard()

    def begin_guard(self) -> Self:
        """The guard; returns once it is listening."""
        self.guard.start()
        until(self._listening, 15)
        return self

    def _listening(self) -> bool:
        """Every connection stands, every plug on MQTT is reachable, and the record is open."""
        status = self.guard.status_if_any()
        if status is None:
            assert self.guard.ended_within(0) is None, self.guard.log()
            return False
        reached = {relay["name"] for relay in status["relays"] if relay["reachable"]}
        linked = all(link["connected"] is not False for link in status["links"])
        return linked and reached >= set(self.plugs) and bool(status["guard"]["record"]["ok"])

    def plug(self, table: PlugTable, **habits: Any) -> Plug:
        options: dict[str, Any] = {"port": self.broker.port, "host": self.broker.host}
        options |= {f"{part}_topic": table.topic(part) for part in ("order", "echo", "presence")}
        options |= {"meter_topic": table.topic("watts")} if table.meter else {}
        plug = Plug(Habits(**(options | habits)))
        self.plugs[table.name] = self._stack.enter_context(plug)
        return plug

    def printer(self, name: str, heater: str = "bed", **options: Any) -> Printer:
        key = name if heater == "bed" else f"{name}/{heater}"
        where = {"host": self.broker.host} | options
        self.printers[key] = self._stack.enter_context(Printer(self.broker.port, f"{TOPIC}/{name}/{heater}", **where))
        return self.printers[key]

    def callback(self, function: Callable[[], object]) -> None:
        """Have something else cleared away at the end."""
        self._stack.callback(function)

    def events(self, kind: str = "", printer: str = "", *, since: float = 0.0) -> list[EventRow]:
        """Events on record from engine time `since` on, in their order."""
        try:
            rows = Reader(self.guard.state / "record.sqlite").latest_events(1000, printer=printer)
        except RecordUnreadable:
            return []
        return [row for row in reversed(rows) if row.at.engine_s >= since and kind in ("", row.kind)]

    def event(self, kind: str, printer: str = "", *, since: float = 0.0, within_s: float = 8.0, says: str = "") -> EventRow:
        """The first such event; waits for it."""
        found: EventRow = until(lambda: [row for row in self.events(kind, printer, since=since) if says in row.sentence], within_s)[0]
        return found

    def trips(self, printer: str) -> list[TripRow]:
        """Trips on record, the oldest first, once all that was to be recorded until now is."""
        until(lambda: not self.guard.status()["guard"]["record"]["waiting"])
        return list(reversed(Reader(self.guard.state / "record.sqlite").trips(1000, printer=printer)))

    def warnings(self, says: str) -> list[dict[str, Any]]:
        """What `status` shows of late."""
        shown: list[dict[str, Any]] = self.guard.status()["guard"]["warnings"]
        return [warning for warning in shown if says in warning["sentence"]]

    def loud(self, says: str, within_s: float = 5.0) -> EventRow:
        """Status, log and record all say it, at least as a warning."""
        until(lambda: self.warnings(says), within_s)
        until(lambda: says in self.guard.log(), within_s)
        found: list[EventRow] = until(lambda: [row for row in self.events() if says in row.sentence], within_s)
        assert found[-1].level in {"warning", "alarm"}
        return found[-1]

    def state(self, printer: str) -> str:
        """ "protected", "not protected" or "tripped"."""
        return str(self.guard.printer(printer)["state"])

    def heater(self, printer: str, name: str = "bed") -> dict[str, Any]:
        """The status of one heater."""
        found: dict[str, Any] = next(heater for heater in self.guard.printer(printer)["heaters"] if heater["name"] == name)
        return found

    def off_after_s(self, plug: str, t0: float, within_s: float = 8.0) -> float:
        """Seconds from `t0` until the power was really gone; waits for it."""
        until(self.plugs[plug].off_at_ns, within_s)
        at_ns = self.plugs[plug].off_at_ns()
        assert at_ns is not None
        return at_ns / 1e9 - t0

    def clear(self, printer: str, plug: str = "") -> None:
        """Cool the printer, reset it, and switch its plug on again, as its owner would."""
        self.printers[printer].temperature_c = 60.0
        until(lambda: self.guard.reset(printer)["ok"])
        self.plugs[plug or f"{printer}-plug"].switch(on=True)
        until(lambda: self.state(printer) == "protected")

    def end(self) -> None:
        try:
            self.guard.stop()
        finally:
            self._stack.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.end()
