"""Carries out what the engine decides, in the engine's order; a step that fails neither delays nor undoes another."""

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Protocol

from watchdog.core.inputs import RelayReport
from watchdog.core.outputs import Event, LatchChange, Mark, Output, RelayOrder
from watchdog.guard.journal import Journal
from watchdog.guard.keeper import Keeper
from watchdog.relays.driver import Driver

log = logging.getLogger("heatwarden")

KEPT_KINDS = frozenset({"armed", "bypass", "bypass over"})
"""The kinds of events after which less or more is withheld than before: a restart must know it."""

Point = Callable[[str], None]
"""Called at the named steps of a trip (decided, marked, ordered, latch queued, told) and of a release. The kill tests hang on it."""


class Marks(Protocol):
    """The marks as the hands know them."""

    def set(self, printer: str) -> None: ...

    def clear(self, printer: str) -> None: ...


class Hands:
    """For the loop's thread. Nothing here waits for a disk, a network or a person."""

    def __init__(
        self,
        marks: Marks,
        drivers: Mapping[str, Driver],
        keeper: Keeper,
        journal: Journal,
        *,
        now: Callable[[], float],
        wall_text: Callable[[], str],
        report: Callable[[RelayReport], None],
        point: Point,
        latched: Iterable[str] = (),
        keep: Callable[[], None] = lambda: None,
    ) -> None:
        """`keep` has it kept what only observes and what is bypassed."""
        self._marks, self._drivers, self._keeper, self._journal = marks, drivers, keeper, journal
        self._now, self._wall_text, self._report, self._point = now, wall_text, report, point
        self._latched = set(latched)
        self._keep = keep
        self._since: dict[str, str] = {}  # when each printer was latched; a latch that widens keeps its first time

    def carry_out(self, outputs: Iterable[Output]) -> None:
        """Do all of it, first things first."""
        for output in outputs:
            if isinstance(output, Mark):
                self._mark(output.printer)
            elif isinstance(output, RelayOrder):
                self._order(output)
            elif isinstance(output, LatchChange):
                self._latch(output)
            elif isinstance(output, Event):
                self._journal.event(output)
                if output.kind == "trip":
                    self._point("told")
                elif output.kind in KEPT_KINDS:
                    self._keep()

    def since(self, printer: str) -> str:
        """When a printer was latched in this run, as wall time; empty when it was not."""
        return self._since.get(printer, "")

    def release_mark(self, printer: str) -> None:
        """The release of a latch is stored for good: its mark may go, unless it tripped again meanwhile.

        Until the mark is gone, a killed guard comes back latched: a reset is for good from here on, not when it is answered.
        """
        if printer not in self._latched:
            try:
                self._marks.clear(printer)
            except KeyError:
                log.warning("no mark to clear for %s", printer)
            self._point("release stored")

    def _mark(self, printer: str) -> None:
        self._point("decided")
        self._latched.add(printer)
        try:
            self._marks.set(printer)
        except Exception:
            log.exception("the mark of %s cannot be set; the power is cut all the same", printer)
        self._point("marked")

    def _order(self, order: RelayOrder) -> None:
        try:
            self._drivers[order.relay].off(order.order)
        except Exception as error:
            log.exception("relay %s cannot be commanded", order.relay)
            self._report(RelayReport(order.relay, self._now(), sent=False, order=order.order, why=repr(error)))
        self._point("ordered")

    def _latch(self, change: LatchChange) -> None:
        latch = change.latch
        if latch is None:
            self._latched.discard(change.printer)
            self._since.pop(change.printer, None)
        else:
            self._latched.add(change.printer)
            latch = replace(latch, at_wall=latch.at_wall or self._since.setdefault(change.printer, self._wall_text()))
        self._keeper.change(change.printer, latch)
        self._point("latch queued")
