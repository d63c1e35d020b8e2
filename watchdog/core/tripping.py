"""A trip: the mark, the OFF commands, the latch, the record, in that order."""

from dataclasses import replace

from watchdog.core.check import Finding
from watchdog.core.cut import Cut
from watchdog.core.heater import Heater
from watchdog.core.inputs import TripByHand
from watchdog.core.latch import Latch
from watchdog.core.outputs import Event, LatchChange, Mark, Output
from watchdog.core.printer import Printer
from watchdog.core.site import Site
from watchdog.core.units import unit_hint
from watchdog.core.values import JsonObject

BY_HAND = "by hand"
"""Stands in the place of a check where a person has tripped it."""


def trip(
    site: Site, printer: Printer, heater: Heater | None, check: str, finding: Finding, at: float, out: list[Output], person: str = ""
) -> None:
    """Latch a printer and begin to cut its power: the heater's own relays first, then the printer's."""
    site.trips += 1
    trip_id = f"{site.run}/{site.trips}"
    name = "" if heater is None else heater.heater
    temperature_c = None if heater is None else heater.temperature_c
    cooling = None if heater is None else heater.plan.cooling
    relays, besides = _relays_of(printer, heater)
    sentence = finding.sentence
    if heater is not None and temperature_c is not None and not person:
        sentence += unit_hint(temperature_c, heater.target_c, heater.coldest_c)
    latch = Latch(
        printer.name,
        trip_id,
        name,
        check,
        sentence,
        relays + besides,
        temperature_c=temperature_c,
        addresses=_addresses(site, relays + besides),
    )
    printer.set_latch(latch)
    printer.also.add((name, check))
    out.append(Mark(printer.name))
    event = Event(at, "trip", "alarm", sentence, printer=printer.name, heater=name, check=check, trip=trip_id, person=person)
    out.append(event._replace(numbers=finding.numbers))
    out += site.power.start(Cut(printer.name, name, trip_id, relays, at, cooling, temperature_c), at)
    out += site.power.open_besides(printer.name, besides, at, all_needed=_all_needed(printer, besides))
    out.append(LatchChange(printer.name, latch))
    site.relays_moved(latch.relays)


def cut_too(site: Site, printer: Printer, heater: Heater, check: str, finding: Finding, at: float, out: list[Output]) -> None:
    """A further finding while the latch stands: told once. The relays opened so far may not feed this heater."""
    widen(site, printer, heater, at, out)
    if printer.latch is not None and (heater.heater, check) not in printer.also:
        printer.also.add((heater.heater, check))
        event = Event(at, "also", "info", finding.sentence, printer=printer.name, heater=heater.heater, check=check)
        out.append(event._replace(trip=printer.latch.trip, numbers=finding.numbers))


def widen(site: Site, printer: Printer, heater: Heater | None, at: float, out: list[Output]) -> None:
    """A heater, or the whole of a printer that is latched, must lose its power: what was opened so far may not feed it."""
    name, cooling, temperature_c = ("", None, None) if heater is None else (heater.heater, heater.plan.cooling, heater.temperature_c)
    relays, besides = _relays_of(printer, heater)
    widened = site.power.widen(printer.name, name, cooling, temperature_c, relays, at)
    if besides:
        widened += site.power.open_besides(printer.name, besides, at, all_needed=_all_needed(printer, besides))
    if not widened or printer.latch is None:
        return
    out += widened
    cut = site.power.cuts[printer.name]
    relays = cut.relays + tuple(name for name in cut.besides if name not in cut.relays)
    printer.latch = replace(printer.latch, relays=relays, addresses=_addresses(site, relays))
    out.append(LatchChange(printer.name, printer.latch))
    site.relays_moved(relays)


def _relays_of(printer: Printer, heater: Heater | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The relays that cut a heater one after the other, its own first, and none beside them; without a heater see `_of_whole`."""
    if heater is None:
        return _of_whole(printer, printer.relays)
    own = heater.plan.relays
    return own + tuple(relay for relay in printer.plan.relays if relay not in own), ()


def _of_whole(printer: Printer, relays: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Those that cut all of a printer, one after the other, and those of single heaters, which are opened with the first of them."""
    single = {relay for heater in printer.heaters for relay in heater.plan.relays} - set(printer.plan.relays)
    whole = tuple(relay for relay in relays if relay not in single) or relays[:1]
    return whole, tuple(relay for relay in relays if relay not in whole)


def _all_needed(printer: Printer, besides: tuple[str, ...]) -> bool:
    return bool(besides) and not printer.plan.relays


def _addresses(site: Site, relays: tuple[str, ...]) -> JsonObject:
    return {relay: site.power.relays[relay].plan.address for relay in relays}


def trip_by_hand(site: Site, item: TripByHand, at: float, out: list[Output]) -> None:
    """A person asks for the cut."""
    printer = site.printers.get(item.printer)
    if printer is None:
        return
    reason = f"tripped by hand by {item.person}: {item.reason}"
    if printer.latch is None:
        trip(site, printer, None, BY_HAND, Finding("cut", reason, {}), at, out, item.person)
    else:
        widen(site, printer, None, at, out)
        out.append(Event(at, "also", "info", reason, printer=printer.name, check=BY_HAND, trip=printer.latch.trip, person=item.person))


def take_up(site: Site, latch: Latch, at: float, out: list[Output]) -> None:
    """Go on with a latch that stood when the guard started: OFF at once, whatever was known before."""
    printer = site.printers[latch.printer]
    printer.set_latch(latch)
    heater = site.heaters.get((latch.printer, latch.heater))
    cooling = None if heater is None else heater.plan.cooling
    relays, besides = (latch.relays, ()) if latch.heater else _of_whole(printer, latch.relays)
    out += site.power.start(Cut(latch.printer, latch.heater, latch.trip, relays, at, cooling, latch.temperature_c), at)
    out += site.power.open_besides(latch.printer, besides, at, all_needed=_all_needed(printer, besides))
