"""A reset: refused or done, and the probation that follows where nothing could be read."""

from watchdog.core.check import Finding
from watchdog.core.inputs import Reset
from watchdog.core.outputs import Event, LatchChange, Output
from watchdog.core.printer import PROBATION_S, Printer, healthy
from watchdog.core.rearming import note_heating
from watchdog.core.resetting import is_unread, refusal
from watchdog.core.site import Site
from watchdog.core.tripping import trip, widen
from watchdog.core.values import INFINITY


def reset(site: Site, item: Reset, at: float, out: list[Output]) -> None:
    """Release a latched printer, or say why not. Nothing is switched on: that is for a person to do."""
    printer = site.printers.get(item.printer)
    if printer is None:
        return
    read_from = site.power.read_from(printer.name)
    why = refusal(printer, site.power.cuts.get(printer.name), item._replace(at=at), read_from)
    trip_id = "" if printer.latch is None else printer.latch.trip
    if why:
        out.append(Event(at, "reset refused", "warning", why, printer=printer.name, trip=trip_id, person=item.person))
        return
    unread = is_unread(printer, at, read_from)
    site.power.release(printer.name)
    printer.set_latch(None)
    for heater in printer.heaters:
        heater.forget(at)
        site.timeline.schedule(heater)
    note_heating(site, printer, at)
    out.append(LatchChange(printer.name, None))
    how = (", power vouched off by eye" if item.vouched else "") + (", unread" if unread else "")
    sentence = f"reset by {item.person}{how}: {item.reason}"
    out.append(Event(at, "reset", "info", sentence, printer=printer.name, trip=trip_id, person=item.person))
    if unread:
        printer.probation = "waiting"
        within = f"within {PROBATION_S:.0f} s of power coming back"
        why = f"{printer.name} was reset unread: {within} healthy readings must flow, or it trips again"
        out.append(Event(at, "probation", "warning", why, printer=printer.name))
    site.relays_moved(printer.relays)


def watch_probation(site: Site, printer: Printer, at: float, out: list[Output]) -> None:
    """A live reading came during probation: its time runs from now at the latest, and it may be passed."""
    if printer.power_returned(at):
        site.timeline.schedule(printer)
    if printer.probation_passed():
        printer.probation, printer.probation_by = "none", INFINITY
        out.append(Event(at, "probation passed", "info", f"healthy readings of {printer.name} flow again", printer=printer.name))


def fail_probation(site: Site, printer: Printer, at: float, out: list[Output]) -> None:
    """Its time is up without healthy readings of every heater."""
    printer.probation, printer.probation_by = "none", INFINITY
    bad = [heater for heater in printer.heaters if not (heater.heard_live and healthy(heater))]
    if not bad:
        return
    names = ", ".join(heater.heater for heater in bad)
    reason = f"power came back after the reset, but no healthy readings of {names} came within {PROBATION_S:.0f} s"
    trip(site, printer, bad[0], "probation", Finding("cut", reason, {"waited_s": PROBATION_S}), at, out)
    for heater in bad[1:]:
        widen(site, printer, heater, at, out)
