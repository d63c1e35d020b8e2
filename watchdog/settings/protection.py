"""What a site is protected by, and what it is not: said from the settings alone, before anything runs."""

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

from watchdog.settings.explained import missing_facts
from watchdog.settings.feeds import Readings
from watchdog.settings.learnt import VOID, holds
from watchdog.settings.limits import Limit, resolve
from watchdog.settings.model import Heater, PrinterFile, Settings
from watchdog.settings.relay_tables import CommandRelayTable, HttpRelayTable, MqttRelayTable, PretendRelayTable, shows_heat
from watchdog.settings.rules_front import is_loopback
from watchdog.settings.rules_http_relays import http_relay_lacks
from watchdog.settings.safety import safety
from watchdog.settings.web import host_and_port

LOOPBACK = ("localhost", "127.", "::1")


@dataclass(frozen=True, slots=True)
class Cut:
    """One relay in the order in which it is tried: what it cuts, and what will show that it opened."""

    relay: str
    cuts: str
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeaterProtection:
    """One heater: how its readings come, its limits, and the relays that cut it, its own feed first."""

    kind: str
    readings: tuple[str, ...]
    limits: tuple[Limit, ...]
    cut_by: tuple[Cut, ...]


@dataclass(frozen=True, slots=True)
class PrinterProtection:
    """One printer: its heaters, and one plain sentence for each thing that its protection lacks."""

    heaters: dict[str, HeaterProtection]
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteProtection:
    """All printers, and what is lacking on the site as a whole."""

    printers: dict[str, PrinterProtection]
    lacks: tuple[str, ...]


def protection(settings: Settings) -> SiteProtection:
    """Who protects what, and where the gaps are."""
    printers = {name: _printer(settings, name, table) for name, table in settings.printers.items()}
    return SiteProtection(printers, tuple(dict.fromkeys(_site_lacks(settings))))


def _printer(settings: Settings, name: str, table: PrinterFile) -> PrinterProtection:
    heaters = {
        key: HeaterProtection(
            heater.kind,
            tuple(_comes(settings, heater)),
            resolve(heater),
            tuple(Cut(relay, *_cut(settings, relay)) for relay in relays_of(table, heater)),
        )
        for key, heater in table.heaters.items()
    }
    return PrinterProtection(heaters, tuple(dict.fromkeys(_printer_lacks(settings, name, table))))


def relays_of(table: PrinterFile, heater: Heater) -> tuple[str, ...]:
    """The relays of a heater in the order in which they are tried."""
    return tuple(dict.fromkeys((*heater.relays, *table.relays)))


def _cut(settings: Settings, name: str) -> tuple[str, tuple[str, ...]]:
    relay = settings.main.relays[name]
    if isinstance(relay, PretendRelayTable):
        return "nothing (pretend)", ()
    echo = relay.ask if isinstance(relay, CommandRelayTable) else relay.echo
    meter = None if isinstance(relay, CommandRelayTable) else relay.meter
    found = (("echo", echo), ("meter", meter), ("temperature falling", not relay.silences))
    return relay.cuts, tuple(evidence for evidence, given in found if given)


def _printer_lacks(settings: Settings, name: str, table: PrinterFile) -> Iterator[str]:
    if table.observe is not None:
        but = "all checks but ceiling and out of range tell what they would have cut, and do not cut"
        yield f"for its first {table.observe.heating_hours:g} heating hours it only observes: {but}"
    for key, heater in table.heaters.items():
        relays = relays_of(table, heater)
        real = [relay for relay in relays if not isinstance(settings.main.relays[relay], PretendRelayTable)]
        if not real:
            yield f"{key}: no relay that cuts anything; it is watched, not protected"
        elif len(real) == 1:
            yield f"{key}: only one relay, {real[0]}; when it fails, nothing else cuts the power"
        for check, hours in heater.observe.items():
            yield f"{key}: for its first {hours:g} heating hours the check {check.replace('_', ' ')} only observes"
        if heater.learnt is not None and not holds(heater):
            yield f"{key}: {VOID}"
        yield from _common_cause(settings, key, heater, real)
        yield from _too_late(key, heater)
        yield from _readings_lack(key, heater.readings)
        for sensor, readings in heater.sensors.items():
            yield from _readings_lack(f"{key}, sensor {sensor}", readings)
    for relay in dict.fromkeys(relay for heater in table.heaters.values() for relay in relays_of(table, heater)):
        yield from _relay_lacks(settings, name, relay)


def _comes(settings: Settings, heater: Heater) -> Iterator[str]:
    """How the readings of each of its sensors come, in words."""
    for sensor, readings in {"": heater.readings, **heater.sensors}.items():
        whose = f"sensor {sensor}: " if sensor else ""
        if readings.way == "page":
            page = settings.main.pages[readings.page]
            yield f"{whose}polled from page {readings.page} every {page.every_s:g} s, each answer within {page.time_limit_s:g} s"
        elif readings.way == "pushed":
            yield f"{whose}pushed through the front; depends on the front process"
        else:
            yield f"{whose}over MQTT from broker {readings.broker}, topic {readings.topic}"


def _too_late(key: str, heater: Heater) -> Iterator[str]:
    """What the physics of this heater leave of the time from its ceiling to harm."""
    found = safety(heater)
    if found is None:
        missing = missing_facts(heater)
        if missing:
            interval = f"its source may be silent for {heater.readings.longest_interval_s:g} s"
            yield f"{key}: whether its ceiling cuts before harm is not known ({interval}): give {', '.join(missing)} as well"
        return
    if not found.protects:
        yield f"{key}: its ceiling cannot protect it: {found.arithmetic}"
    elif not found.in_time:
        yield f"{key}: unable to protect it by the ceiling: {found.too_slow}"
    elif found.at_worst:
        yield f"{key}: {found.at_worst}"


def _common_cause(settings: Settings, key: str, heater: Heater, relays: list[str]) -> Iterator[str]:
    """Readings and every relay on one broker, or in one device: when that is gone, nothing is heard and nothing can be cut."""
    brokers = settings.main.brokers
    tables = [settings.main.relays[relay] for relay in relays]
    if heater.readings.way == "page":
        host, _ = host_and_port(settings.main.pages[heater.readings.page].url)
        if {host_and_port(table.order.url)[0] if isinstance(table, HttpRelayTable) else None for table in tables} == {host}:
            yield f"{key}: its readings and all of its relays are those of one device, {host}; when that fails, no power can be cut"
    if heater.readings.way != "broker":
        return
    used = {(brokers[table.broker].host, brokers[table.broker].port) if isinstance(table, MqttRelayTable) else None for table in tables}
    own = brokers[heater.readings.broker]
    if used == {(own.host, own.port)}:
        yield f"{key}: its readings and all of its relays need the broker {heater.readings.broker}; when that fails, no power can be cut"


def _readings_lack(key: str, readings: Readings) -> Iterator[str]:
    if readings.way == "pushed":
        yield f"{key}: its readings depend on the front process; while that is down nothing of it is heard"
    if readings.reports == "on change" and readings.presence is None:
        yield f"{key}: its source reports on change and has no presence; a dead source looks like a steady one"
    no_target = "(?P<target>" not in readings.pattern if readings.form == "text" else readings.fields.temperature == ""
    if no_target and readings.way != "pushed" and not readings.sensor:
        yield f"{key}: its target is not reported; overshoot is not seen, and silence is judged by the last temperature alone"


def _relay_lacks(settings: Settings, printer: str, name: str) -> Iterator[str]:
    relay = settings.main.relays[name]
    cuts, evidence = _cut(settings, name)
    if isinstance(relay, PretendRelayTable):
        yield f"{name}: a pretend relay; it cuts nothing"
        return
    if not evidence:
        yield f"{name}: no echo, no meter, and opening it silences the readings; nothing can show that it opened"
    elif evidence == ("temperature falling",):
        yield f"{name}: no echo and no meter; only a falling temperature can show that it opened, which takes minutes"
    elif "meter" not in evidence and relay.silences:
        yield f"{name}: no meter; a welded contact that echoes off goes unseen"
    if "meter" in evidence and cuts != "several" and not shows_heat(relay) and settings.printers[printer].meter is None:
        yield f"{name}: its meter shows only whether the power is gone; with shows_heat, heating while off would be seen by it as well"
    if isinstance(relay, MqttRelayTable) and relay.presence is None:
        yield f"{name}: no presence; that it cannot be reached is seen only when the broker cannot be reached either"
    if isinstance(relay, CommandRelayTable) and not relay.ask:
        yield f"{name}: no ask; that it cannot be reached is seen only when it is needed"
    if isinstance(relay, HttpRelayTable):
        yield from http_relay_lacks(name, relay)
    others = [other for other, table in settings.printers.items() if other != printer and name in table.relays]
    if cuts == "several" and others:
        yield f"{name}: opening it takes the power of {', '.join(others)} as well"


def _site_lacks(settings: Settings) -> Iterator[str]:
    polled = {feed.page for _, feed in settings.voices() if feed.way == "page"}
    for name, page in settings.main.pages.items():
        host = urlsplit(page.url).hostname or ""
        if page.url.startswith("http:") and not host.startswith(LOOPBACK):
            what = "its secret and all readings cross" if page.secret_file or page.secret_credential else "all readings cross"
            yield f"page {name}: no https; {what} the network in the clear, and anybody on it may speak for a printer"
        if name not in polled:
            yield f"page {name}: described, and read by no printer"
    for name, broker in settings.main.brokers.items():
        if not broker.user:
            yield f"broker {name}: no user; anybody on its network may speak for a printer or switch a relay"
        elif broker.tls is None and not broker.host.startswith(LOOPBACK):
            yield f"broker {name}: no tls; its password and all readings cross the network in the clear"
    front = settings.main.front
    if not is_loopback(front.listen) and not front.certificate_file:
        yield f"front: it listens on {front.listen} without TLS; tokens and all it tells cross the network in the clear"
    used = {relay for table in settings.printers.values() for heater in table.heaters.values() for relay in relays_of(table, heater)}
    for name in settings.main.relays:
        if name not in used:
            yield f"relay {name}: described, and used by no printer"
