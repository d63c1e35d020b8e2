"""What is heard about sources, relays and the computer itself, beside readings."""

from watchdog.core.inputs import RelayReport, SourceReport, Suspended, Unusable
from watchdog.core.judging import TELL_EVERY_S, judge
from watchdog.core.outputs import Event, Level, Output
from watchdog.core.rearming import note_heating
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
        heater.spoke_at = at
    if at >= site.unusable_told.get(key, NEVER) + TELL_EVERY_S:
        site.unusable_told[key] = at
        sentence = f"a message about {item.heater or 'the meter'} holds no usable reading: {item.why}"
        out.append(Event(at, "unusable", "warning", sentence, printer=item.printer, heater=item.heater))


def source_report(site: Site, item: SourceReport, at: float, out: list[Output]) -> None:
    """A source (or all behind a link) can be heard or not, or it showed that it lives."""
    link = site.links.get(item.source)
    sources = link.sources if link is not None else [site.sources[item.source]] if item.source in site.sources else []
    for source in sources:
        if item.connected is not None and source.connected is not item.connected:
            _connection(site, source, item, at)
        if item.alive is not None:
            _presence(site, source, at, out, alive=item.alive)


def _connection(site: Site, source: Source, item: SourceReport, at: float) -> None:
    """Noted at once; told a moment later, together with what else was lost or came back on the same link."""
    source.connected = item.connected
    if item.connected and not source.lost:
        return
    source.lost = not item.connected
    link = site.links[source.link]
    printers = [heater.printer for heater in site.by_source[source.name]]
    link.hear(at, "source lost" if source.lost else "source back", printers, item.why)
    site.timeline.schedule(link)


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


def link_news(link: Link, at: float) -> list[Event]:
    """One event each for all that was lost, came back or fell silent together on a link."""
    events = []
    for kind, (names, why) in link.take_news().items():
        shown = ", ".join(names[:SHOWN]) + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")
        sentence = {
            "source lost": f"connection {link.name} does not carry readings of {shown} ({why or 'no reason given'})",
            "source back": f"connection {link.name} carries readings of {shown} again",
            "readings stopped": f"nothing fresh of {shown}",
        }[kind]
        printers = sorted({name.split("/")[0] for name in names})
        printer = printers[0] if len(printers) == 1 else ""
        level: Level = "info" if kind == "source back" else "warning"
        events.append(Event(at, kind, level, sentence, printer=printer, source=link.name, numbers={"count": float(len(names))}))
    return events


def relay_report(site: Site, item: RelayReport, at: float, out: list[Output]) -> None:
    """A relay spoke: evidence for a cut, a sign of life, or power that came back after a reset."""
    out += site.power.report(item, at)
    relay = site.power.relays.get(item.relay)
    if relay is None or item.retained:
        return
    behind = site.by_relay.get(item.relay, ())
    power = item.state == "on" or (item.power_w is not None and item.power_w > relay.plan.standby_w)
    dark = [heater for printer in behind for heater in printer.heaters if heater.darkened] if power else []
    if power:
        for printer in behind:
            if printer.power_returned(at):
                site.timeline.schedule(printer)
    if item.state is not None or relay.demanded:
        site.relays_moved((item.relay,))
    for heater in dark:
        if not heater.darkened:
            heater.lit_at = at


def suspended(site: Site, item: Suspended, at: float, out: list[Output]) -> None:
    """Nobody listened for a while: what was heard before counts no more, and no timer may count the time."""
    for source in site.sources.values():
        source.alive_at = NEVER
    for heater in site.heaters.values():
        heater.forget(at)
        site.timeline.schedule(heater)
    for link in site.links.values():
        link.take_news()
    for printer in site.printers.values():
        printer.wait_again(at)
        printer.bypasses.slept(at, item.slept_s)
        note_heating(site, printer, at)
        site.timeline.schedule(printer)
    site.power.resume(at)
    site.relays_moved(site.by_relay)
    sentence = f"this computer did not listen for {item.slept_s:.0f} s: all readings are stale until they come anew"
    out.append(Event(at, "suspended", "warning", sentence, numbers={"slept_s": item.slept_s}))
