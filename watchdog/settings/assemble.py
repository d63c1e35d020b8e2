"""Checked settings to what the engine, the sources and the relays are told."""

from dataclasses import asdict, fields, replace
from functools import partial
from typing import Any, Final, Literal, NamedTuple

from watchdog.core.observing import HOUR_S
from watchdog.core.plan import CoolingPlan, Fed, HeaterPlan, PrinterPlan, RelayPlan, SitePlan, SourcePlan
from watchdog.core.values import JsonObject
from watchdog.settings.addresses import Broker, CommandRelay, HttpRelay, MqttRelay, PretendRelay, RelayAddress, SwitchPresence
from watchdog.settings.feeds import Meter, Readings, Voice, Way
from watchdog.settings.limits import fresh_checks, limits_by_check
from watchdog.settings.model import Heater, PrinterFile, Settings
from watchdog.settings.physics import expected
from watchdog.settings.relay_tables import CommandRelayTable, HttpRelayTable, MqttRelayTable, RelayTable, shows_heat
from watchdog.thermal.heater_classes import CLASSES
from watchdog.wire.feed import Feed

_SENT_MARGIN_S = 0.5
"""A program that runs into its time limit is stopped and reported a little later than that."""


PUSHED_LINK: Final = "pushed readings"
"""How the way through the front is called among connections; no broker can be named so."""

FED: Final[dict[Way, Fed]] = {"broker": "over MQTT", "pushed": "pushed through the front", "page": "polled"}


class HeaterFeed(NamedTuple):
    """One feed of one broker or page. `heater` is empty for the metered power of the whole printer.

    `source` is the name in the engine's plan; those of further sensors and meters are not in it.
    """

    printer: str
    heater: str
    source: str
    feed: Feed
    presence: SwitchPresence | None


def site_plan(settings: Settings) -> SitePlan:
    """Everything that one engine guards."""
    printers = tuple(
        PrinterPlan(name, tuple(_heater(name, key, heater) for key, heater in table.heaters.items()), table.relays, _observe_s(table))
        for name, table in settings.printers.items()
    )
    return SitePlan(settings.main.site, printers, tuple(relay_plan(settings, name) for name in settings.main.relays))


def feeds_by_broker(settings: Settings) -> dict[str, list[HeaterFeed]]:
    """What to listen to, by the name of the broker; brokers that carry no readings are left out."""
    return _feeds_by(settings, "broker")


def feeds_by_page(settings: Settings) -> dict[str, list[HeaterFeed]]:
    """What to look for in each page, by its name; pages of which nobody reads are left out."""
    return _feeds_by(settings, "page")


def _feeds_by(settings: Settings, way: Literal["broker", "page"]) -> dict[str, list[HeaterFeed]]:
    found: dict[str, list[HeaterFeed]] = {}
    for (printer, heater, sensor), readings in settings.voices():
        if readings.way == way:
            feed = readings.feed() if isinstance(readings, Meter) else readings.feed(sensor)
            entry = HeaterFeed(printer, heater, source_name(printer, heater, sensor), feed, readings.presence)
            found.setdefault(getattr(readings, way), []).append(entry)
    return found


def ways_of_voices(settings: Settings) -> dict[Voice, Fed]:
    """How the readings of each voice come; of all heaters, further sensors and meters."""
    return {voice: FED[readings.way] for voice, readings in settings.voices()}


def meters(settings: Settings) -> dict[str, tuple[str, str]]:
    """Of what the meter of a relay shows the power: by relay a printer, and its heater or "" for the whole printer.

    Only of relays that say so (`shows_heat`); the rules see to it that what such a relay cuts is one thing.
    """
    found = {}
    for printer, table in settings.printers.items():
        for heater, relays in table.relays_by_owner():
            for name in relays:
                relay = settings.main.relays[name]
                if shows_heat(relay):
                    only = heater or next(iter(table.heaters))
                    found[name] = (printer, only if relay.cuts == "heater" else "")
    return found


def source_name(printer: str, heater: str, sensor: str) -> str:
    """How a source is called: PRINTER/HEATER, PRINTER/HEATER/SENSOR, or PRINTER/power meter (no heater can be named so)."""
    return f"{printer}/{heater}/{sensor}" if sensor else f"{printer}/{heater}" if heater else f"{printer}/power meter"


def relay_plan(settings: Settings, name: str) -> RelayPlan:
    """One relay as the power logic needs it, with an address by which it can be commanded without any settings."""
    table = settings.main.relays[name]
    address = relay_address(settings, name)
    meter = address.meter if isinstance(address, MqttRelay | HttpRelay) else None
    plan = RelayPlan(
        name=name,
        cuts=table.cuts,
        silences=table.silences,
        has_echo=_echoes(address),
        has_meter=meter is not None,
        echo_within_s=table.echo_within_s,
        sent_within_s=_sent_within_s(table),
        watched=not isinstance(address, CommandRelay) or bool(address.ask),
        real=not isinstance(address, PretendRelay),
        address=_as_json(table.kind, address),
    )
    return plan if meter is None else replace(plan, standby_w=meter.standby_w, meter_within_s=meter.within_s)


def _echoes(address: RelayAddress) -> bool:
    if isinstance(address, MqttRelay | HttpRelay):
        return address.echo is not None
    return isinstance(address, CommandRelay) and bool(address.ask)


def latched_relay_plan(name: str, address: dict[str, Any]) -> RelayPlan:
    """A relay of which only a latch still knows: what its address tells, and defaults. Never raises."""
    meter, limit_s = address.get("meter"), address.get("time_limit_s")
    plan = RelayPlan(
        name=name,
        sent_within_s=limit_s if isinstance(limit_s, float) and address.get("kind") == "http" else 2.0,
        has_echo=bool(address.get("echo") or address.get("ask")),
        has_meter=isinstance(meter, dict),
        watched=address.get("kind") != "command" or bool(address.get("ask")),
        real=address.get("kind") != "pretend",
        address=address,
    )
    if not isinstance(meter, dict):
        return plan
    standby_w, within_s = meter.get("standby_w"), meter.get("within_s")
    return replace(
        plan,
        standby_w=standby_w if isinstance(standby_w, float) else plan.standby_w,
        meter_within_s=within_s if isinstance(within_s, float) else plan.meter_within_s,
    )


def relay_address(settings: Settings, name: str) -> RelayAddress:
    """How the relay `name` is reached."""
    table = settings.main.relays[name]
    if isinstance(table, MqttRelayTable):
        broker: Broker = settings.main.brokers[table.broker]
        return MqttRelay(broker=broker, order=table.order, echo=table.echo, meter=table.meter, presence=table.presence)
    if isinstance(table, CommandRelayTable):
        return CommandRelay(off=table.off, ask=table.ask, ask_every_s=table.ask_every_s, time_limit_s=table.time_limit_s)
    if isinstance(table, HttpRelayTable):
        return HttpRelay(**{entry.name: getattr(table, entry.name) for entry in fields(HttpRelay)})
    return PretendRelay(file=table.file)


def _sent_within_s(table: RelayTable) -> float:
    if isinstance(table, MqttRelayTable):
        return table.sent_within_s
    if isinstance(table, HttpRelayTable):
        return table.time_limit_s
    return table.time_limit_s + _SENT_MARGIN_S if isinstance(table, CommandRelayTable) else 2.0


def _as_json(kind: str, address: RelayAddress) -> JsonObject:
    """Plain JSON: lists for tuples, as it comes back from a latch record."""
    values = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(address).items()}
    return {"kind": kind, **values}


def _observe_s(table: PrinterFile) -> float:
    return table.observe.heating_hours * HOUR_S if table.observe else 0.0


def _heater(printer: str, name: str, heater: Heater) -> HeaterPlan:
    kind = CLASSES[heater.kind]
    limits = limits_by_check(heater)
    ceiling = next(own for entry, own in limits if entry.key == "ceiling")
    return HeaterPlan(
        name=name,
        kind=heater.kind,
        source=_source(source_name(printer, name, ""), heater.readings),
        checks=partial(fresh_checks, limits),
        cooling=CoolingPlan(
            stored_rise_k=kind.stored_rise_k,
            drop_k=kind.drop_k,
            within_s=kind.cooling_within_s,
            cold_c=kind.cold_c,
            time_constant_s=kind.time_constant_s,
        ),
        plausible_c=kind.plausible_c,
        ceiling_c=ceiling.above_c,
        relays=heater.relays,
        sensors={key: readings.longest_interval_s for key, readings in heater.sensors.items()},
        expected=expected(heater),
        observe_s={entry.name: heater.observe[entry.key] * HOUR_S for entry, _ in limits if entry.key in heater.observe},
    )


def _source(name: str, readings: Readings) -> SourcePlan:
    return SourcePlan(
        name=name,
        on_change=readings.reports == "on change",
        longest_interval_s=readings.longest_interval_s,
        link={"broker": readings.broker, "page": page_link(readings.page), "pushed": PUSHED_LINK}[readings.way],
        fed=FED[readings.way],
    )


def page_link(page: str) -> str:
    """How the connection to a page is called; no broker can be named so."""
    return f"page {page}"
