"""Cuts that are withheld because a check observes or is bypassed, and how it is armed again: by itself, at the exact time."""

from watchdog.core.bypassing import MINUTE_S, Running, refusal
from watchdog.core.heater import Heater
from watchdog.core.inputs import Bypass, EndBypass
from watchdog.core.observing import ALWAYS_ARMED, HOT_C, HOUR_S, WHOLE, Key
from watchdog.core.outputs import Event, EventKind, Level, Output
from watchdog.core.printer import Printer
from watchdog.core.remaining import Left, Remaining
from watchdog.core.site import Site
from watchdog.core.values import INFINITY, NEVER


def withholds(printer: Printer, heater: str, check: str) -> bool:
    """True while a cut that this check demands is told and not made."""
    if check in ALWAYS_ARMED:
        return False
    return check in printer.bypasses.running or printer.observing.covers(heater, check)


def note_heating(site: Site, printer: Printer, at: float) -> None:
    """Something new is known of the heaters of a printer: does time count now for what only observes?"""
    observing = printer.observing
    if not observing.left_s:
        return
    heating = any(_heats(heater) for heater in printer.heaters)
    if heating is not observing.heating:
        observing.heats(at, heating=heating)
        site.timeline.schedule(printer)


def _heats(heater: Heater) -> bool:
    """It is asked for heat, as far as is known, or heard to be hot. One that was switched off warm is not heard and does not heat."""
    if (heater.target_c or 0.0) > 0.0:
        return True
    if heater.silent_told:
        return False
    if (heater.temperature_c or 0.0) > HOT_C or (heater.hottest_c or 0.0) > HOT_C:
        return True
    return (heater.duty or 0.0) > 0.0 and heater.duty_at >= heater.target_at


def run_out(site: Site, printer: Printer, at: float, out: list[Output]) -> None:
    """Arm what has observed for its time, and what was bypassed for its time."""
    over, ended = printer.observing.over(at), printer.bypasses.over(at)
    for key in over:
        what = _named(printer, key, f"has observed for {printer.observing.allowed_s[key] / HOUR_S:g} heating hours")
        out.append(_event(printer, at, "armed", "info", f"{what}: from now on it cuts", *key))
    for check, bypass in ended.items():
        out.append(_bypass_over(printer, at, check, bypass.person, f"the bypass by {bypass.person} has run out"))
    if over:
        site.look_who_observes()
    if over or ended:
        _ask_again(site, printer, at)


def bypass(site: Site, item: Bypass, at: float, out: list[Output]) -> None:
    """A person wants one check of a printer not to cut for a while."""
    printer = site.printers.get(item.printer)
    if printer is None:
        return
    why = refusal(item, list(dict.fromkeys(check.name for heater in printer.heaters for check in heater.checks)))
    if why:
        out.append(_event(printer, at, "bypass refused", "warning", why, check=item.check, person=item.person))
        return
    before = printer.bypasses.running.get(item.check)
    printer.bypasses.running[item.check] = Running(at + item.seconds, item.person, item.reason)
    site.timeline.schedule(printer)
    instead = "" if before is None else f", in place of {(before.until - at) / MINUTE_S:.1f} min left of that by {before.person}"
    sentence = f"{item.check} is bypassed for {item.seconds / MINUTE_S:g} min by {item.person}{instead}: {item.reason}"
    event = _event(printer, at, "bypass", "warning", sentence, check=item.check, person=item.person)
    out.append(event._replace(numbers={"seconds": item.seconds}))


def end_bypass(site: Site, item: EndBypass, at: float, out: list[Output]) -> None:
    """A person ends a bypass, or all of a printer, before the time."""
    printer = site.printers.get(item.printer)
    if printer is None:
        return
    running = printer.bypasses.running
    for check in [check for check in running if item.check in ("", check)]:
        del running[check]
        out.append(_bypass_over(printer, at, check, item.person, f"{item.person} has ended the bypass"))
    _ask_again(site, printer, at)


def begin(site: Site, remaining: Remaining, at: float, out: list[Output]) -> None:
    """Take up what a former guard left; say what does not cut, and what cuts that people may think does not."""
    if remaining.why:
        out.append(Event(at, "settings", "warning", remaining.why))
    for printer in site.printers.values():
        observing = printer.observing
        for key, allowed_s in observing.allowed_s.items():
            observing.use_up(key, allowed_s if remaining.used_s is None else remaining.used_s.get((printer.name, *key), 0.0))
            left_s = observing.left_s.get(key)
            if left_s is not None:
                sentence = _named(printer, key, f"only observes, for {left_s / HOUR_S:.1f} heating hours more")
                out.append(_event(printer, at, "observing", "warning", sentence, *key))
            elif remaining.used_s is None:
                sentence = _named(printer, key, "is armed: nobody can say for how long it has observed")
                out.append(_event(printer, at, "armed", "warning", sentence, *key))
    for left in remaining.bypasses:
        _resume(site, left, at, out)
    site.look_who_observes()


def _resume(site: Site, left: Left, at: float, out: list[Output]) -> None:
    printer = site.printers.get(left.printer)
    if printer is None:
        return
    if left.until > at:
        printer.bypasses.running[left.check] = Running(left.until, left.person, left.reason)
        site.timeline.schedule(printer)
        minutes = (left.until - at) / MINUTE_S
        sentence = f"{left.check} is still bypassed, for {minutes:.1f} min more, by {left.person}: {left.reason}"
        out.append(_event(printer, at, "bypass", "warning", sentence, check=left.check, person=left.person))
        return
    why = "nobody can say how long it has run" if left.until == NEVER else "it ran out while no guard was running"
    event = _bypass_over(printer, at, left.check, left.person, f"the bypass by {left.person} has ended, because {why}")
    out.append(event._replace(level="warning"))


def _ask_again(site: Site, printer: Printer, at: float) -> None:
    """What was found by a deadline and withheld is not found again by itself. Where a reading came since, the next one does it."""
    for heater in printer.heaters:
        for check in heater.timed:
            key = (heater.heater, check.name)
            found_at = printer.withheld.get(key, NEVER)
            if found_at == NEVER or withholds(printer, *key):
                continue
            del printer.withheld[key]
            if heater.temperature_at < found_at and heater.since <= found_at and check.deadline == INFINITY:
                check.deadline = at
                site.timeline.schedule(heater)


def _named(printer: Printer, key: Key, what: str) -> str:
    return f"{printer.name} {what}" if key == WHOLE else f"the check {key[1]} of {key[0]} {what}"


def _bypass_over(printer: Printer, at: float, check: str, person: str, why: str) -> Event:
    return _event(printer, at, "bypass over", "info", f"{check} is armed again: {why}", check=check, person=person)


def _event(
    printer: Printer, at: float, kind: EventKind, level: Level, sentence: str, heater: str = "", check: str = "", person: str = ""
) -> Event:
    return Event(at, kind, level, sentence, printer=printer.name, heater=heater, check=check, person=person)
