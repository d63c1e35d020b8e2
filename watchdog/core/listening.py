"""What is heard about sources, relays and the computer itself, beside readings."""

from watchdog.core.inputs import RelayReport, SourceReport, Suspended, Unusable
from watchdog.core.judging import TELL_EVERY_S, judge
from watchdog.core.outputs import Event, Output
from watchdog.core.site import Site
from watchdog.core.source import Link, Source
from watchdog.core.values import NEVER

SHOWN = 6
"""So many heaters are named in one sentence; the rest is counted."""


def unusable(site: Site, item: Unusable, at: float, out: list[Output]) -> None:
    """A message that held no reading: counted, told once in a while, never fresh."""
    key = (item.printer, item.heater)
    heater = site.heaters.get(key)
    if heater is not None:
        heater.unusable += 1
    if at >= site.unusable_told.get(key, NEVER) + TELL_EVERY_S:
        site.unusable_told[key] = at
        sentence = f"a message about {item.heater or 'the meter'} holds no usable reading: {item.why}"
        out.append(Event(at, "unusable", "warning", sentence, printer=item.printer, heater=item.heater))


def source_report(site: Site, item: SourceReport, at: float, out: list[Output]) -> None:
    """A link or a source went up or down, or a source showed that it lives."""
    link = site.links.get(item.source)
    sources = link.sources if link is not None else [site.sources[item.source]] if item.source in site.sources else []
    if item.connected is not None:
        if link is not None:
            link.connected = item.connected
        _connection(site, item, sources, at, out)
    if item.alive is not None:
        for source in sources:
            _presence(site, source, at, out, alive=item.alive)


def _connection(site: Site, item: SourceReport, sources: list[Source], at: float, out: list[Output]) -> None:
    changed = [source for source in sources if source.connected is not item.connected]
    for source in changed:
        source.connected = item.connected
    if not changed or (item.connected and not any(source.lost for source in changed)):
        return
    for source in changed:
        source.lost = not item.connected
    printers = sorted({heater.printer for source in sources for heater in site.by_source[source.name]})
    printer = printers[0] if len(printers) == 1 else ""
    if item.connected:
        out.append(Event(at, "source back", "info", f"connection {item.source} is up again", printer=printer, source=item.source))
    else:
        why = f"connection {item.source} is lost ({item.why or 'no reason given'}): {', '.join(printers)} cannot be heard"
        out.append(Event(at, "source lost", "warning", why, printer=printer, source=item.source))


def _presence(site: Site, source: Source, at: float, out: list[Output], *, alive: bool) -> None:
    if not alive:
        if not source.gone:
            source.gone = True
            out.append(Event(at, "source lost", "warning", f"the source {source.name} says that it is gone", source=source.name))
        return
    source.gone = False
    source.alive_at = at
    for heater in site.by_source[source.name]:
        heater.now, heater.fresh = at, False
        judge(site, heater, at, out)


def silence(link: Link, at: float) -> Event:
    """One event for all heaters of a link that fell silent together."""
    names = link.take_silent()
    shown = ", ".join(names[:SHOWN]) + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")
    sentence = f"nothing fresh of {shown}" + ("" if link.connected is not False else f" (connection {link.name} is down)")
    printers = sorted({name.split("/")[0] for name in names})
    printer = printers[0] if len(printers) == 1 else ""
    return Event(at, "readings stopped", "warning", sentence, printer=printer, source=link.name, numbers={"heaters": float(len(names))})


def relay_report(site: Site, item: RelayReport, at: float, out: list[Output]) -> None:
    """A relay spoke: evidence for a cut, a sign of life, or power that came back after a reset."""
    out += site.power.report(item, at)
    relay = site.power.relays.get(item.relay)
    if relay is None or item.retained:
        return
    if item.state == "on" or (item.power_w is not None and item.power_w > relay.plan.standby_w):
        for printer in site.by_relay.get(item.relay, ()):
            if printer.power_returned(at):
                site.timeline.schedule(printer)
    if item.state is not None or relay.demanded:
        site.relays_moved(item.relay)


def suspended(site: Site, item: Suspended, at: float, out: list[Output]) -> None:
    """Nobody listened for a while: what was heard before counts no more, and no timer may count the time."""
    for source in site.sources.values():
        source.alive_at = NEVER
    for heater in site.heaters.values():
        heater.forget(at)
        site.timeline.schedule(heater)
    sentence = f"this computer did not listen for {item.slept_s:.0f} s: all readings are stale until they come anew"
    out.append(Event(at, "suspended", "warning", sentence, numbers={"slept_s": item.slept_s}))
