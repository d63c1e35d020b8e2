"""What a person or a program is told about the state of a site. Built by the loop, so it only reads and copies."""

from watchdog.core.heater import SENSOR_INTERVALS, Heater
from watchdog.core.observing import HOUR_S, WHOLE
from watchdog.core.printer import Printer
from watchdog.core.relay import Relay
from watchdog.core.site import Site
from watchdog.core.values import NEVER, JsonObject

STARTING_S = 15.0
"""So long after the start relays and sources may still be making contact."""


def site_status(site: Site, started_at: float, now: float = NEVER) -> JsonObject:
    """The whole site: per printer its state ("protected", "tripped", "not protected"), and why.

    `now` is engine time, where it is later than that of the newest input: what runs out by itself is shown as it is then.
    """
    printers = [printer_status(site, printer, max(now, site.now)) for printer in site.printers.values()]
    states = {entry["state"] for entry in printers}
    state = "tripped" if "tripped" in states else "not protected" if "not protected" in states else "protected"
    return {
        "site": site.plan.site,
        "state": state,
        "idle": bool(printers) and all(entry["idle"] for entry in printers),
        "running_s": round(site.now - started_at, 1),
        "starting": site.now - started_at < STARTING_S,
        "printers": printers,
        "relays": [relay_status(site, relay) for relay in site.power.relays.values()],
        "links": [{"name": link.name, "connected": link.connected} for link in site.links.values()],
        "failed_checks": [
            {"printer": key[0], "heater": key[1], "check": check, "error": error}
            for key, heater in site.heaters.items()
            for check, error in heater.broken.items()
        ],
        "unknown_readings": site.unknown,
    }


def printer_status(site: Site, printer: Printer, now: float) -> JsonObject:
    """One printer."""
    why_not = _why_not(site, printer) + _withheld(printer, now)
    latch = printer.latch
    cut = site.power.cuts.get(printer.name)
    return {
        "name": printer.name,
        "state": "tripped" if latch is not None else "not protected" if why_not else "protected",
        "why_not": why_not,
        "idle": all(_idle(heater, site.now) for heater in printer.heaters),
        "observes": _observes(printer, now),
        "bypasses": [
            {"check": check, "left_s": round(max(run.until - now, 0.0), 1), "person": run.person, "reason": run.reason}
            for check, run in printer.bypasses.running.items()
        ],
        "probation": printer.probation,
        "latch": None
        if latch is None
        else {
            "trip": latch.trip,
            "heater": latch.heater,
            "check": latch.check,
            "reason": latch.reason,
            "at_wall": latch.at_wall,
            "verdict": "" if cut is None else cut.verdict,
            "failure": "" if cut is None else cut.failure,
        },
        "power_w": printer.power_w,
        "depends_on": _depends_on(printer),
        "relays": list(printer.relays),
        "heaters": [_heater_status(heater, site.now) for heater in printer.heaters],
    }


def _depends_on(printer: Printer) -> list[str]:
    """What must work beside this guard and the printer itself, so that readings come at all."""
    pushed = [heater.heater for heater in printer.heaters if heater.plan.source.fed == "pushed through the front"]
    return [f"depends on the front process: readings of {', '.join(pushed)} are pushed through it"] if pushed else []


def relay_status(site: Site, relay: Relay) -> JsonObject:
    """One relay."""
    return {
        "name": relay.name,
        "cuts": relay.plan.cuts,
        "printers": [printer.name for printer in site.by_relay.get(relay.name, ())],
        "reachable": relay.reachable,
        "state": relay.state,
        "power_w": relay.power_w,
        "commanded_off": relay.demanded,
        "confirmed": relay.confirmed,
        "why": relay.why,
    }


def _heater_status(heater: Heater, now: float) -> JsonObject:
    age_s = None if heater.temperature_at == NEVER else round(now - heater.temperature_at, 1)
    return {
        "name": heater.heater,
        "kind": heater.plan.kind,
        "fed": heater.plan.source.fed,
        "temperature_c": heater.temperature_c,
        "age_s": age_s,
        "retained_c": heater.retained_c,
        "live": heater.heard_live and not heater.silent_told,
        "target_c": heater.target_c,
        "duty": heater.duty,
        "ceiling_c": heater.plan.ceiling_c,
        "readings": heater.readings,
        "unusable": heater.unusable,
        "ignored": heater.ignored,
        "warming_up": heater.warms_up,
        "failed_checks": sorted(heater.broken),
        "nearest": max(((round(check.headroom, 3), check.name) for check in heater.checks), default=(0.0, "")),
        "sensors": [_sensor_status(heater, name, now) for name in heater.plan.sensors],
    }


def _sensor_status(heater: Heater, name: str, now: float) -> JsonObject:
    """One further sensor. It counts towards the hottest while `counts` is true; no check tells that it fell silent."""
    temperature_c, at = heater.sensors.get(name, (None, NEVER))
    age_s = None if temperature_c is None else round(now - at, 1)
    return {"name": name, "temperature_c": temperature_c, "age_s": age_s, "counts": now - at <= SENSOR_INTERVALS * heater.interval_s(name)}


def _why_not(site: Site, printer: Printer) -> list[str]:
    """All that stands between this printer and being protected."""
    why: list[str] = []
    fed: dict[tuple[str, ...], list[str]] = {} if printer.heaters else {printer.plan.relays: []}
    for heater in printer.heaters:
        fed.setdefault(heater.plan.relays + printer.plan.relays, []).append(heater.heater)
    for relays, heaters in fed.items():
        why += _no_relay(site, relays, "its power" if len(fed) == 1 else f"the power of {', '.join(heaters)}")
    if not printer.heaters:
        why.append("it is no longer in the settings")
    for heater in printer.heaters:
        why += _heater_why_not(heater, site.now)
    if printer.probation != "none":
        why.append(f"on probation after a reset without readings ({printer.probation})")
    return why


def _observes(printer: Printer, now: float) -> list[JsonObject]:
    """What only observes: empty names are the whole printer."""
    hours = {key: allowed_s / HOUR_S for key, allowed_s in printer.observing.allowed_s.items()}
    return [
        {"heater": key[0], "check": key[1], "hours_left": round(left_s / HOUR_S, 5), "hours": hours[key]}
        for key, left_s in printer.observing.left_at(now).items()
    ]


def _withheld(printer: Printer, now: float) -> list[str]:
    """What does not cut for now, and for how long."""
    why = []
    for key, left_s in printer.observing.left_at(now).items():
        what = "it only observes" if key == WHOLE else f"the check {key[1]} of {key[0]} only observes"
        but = ": all checks but ceiling and out of range do not cut" if key == WHOLE else ""
        why.append(f"{what} for {left_s / HOUR_S:.1f} heating hours more{but}")
    for check, run in printer.bypasses.running.items():
        left_s = max(run.until - now, 0.0)
        left = f"{left_s / 60.0:.0f} min" if left_s >= 120.0 else f"{left_s:.0f} s"  # noqa: PLR2004 - minutes would be too coarse
        why.append(f"{check} is bypassed for {left} more by {run.person}: {run.reason}")
    return why


def _no_relay(site: Site, names: tuple[str, ...], what: str) -> list[str]:
    """Why none of these relays would do; empty when one would."""
    relays = [site.power.relays[name] for name in names if site.power.relays[name].plan.real]
    if not relays:
        pretend = f": {', '.join(names)} only pretends and cuts nothing" if names else ""
        return [f"no relay can cut {what}{pretend}"]
    if any(relay.reachable is True for relay in relays):
        return []
    named = ", ".join(relay.name + (f" ({relay.why})" if relay.why else "") for relay in relays)
    tried = any(relay.reachable is False for relay in relays)
    return [f"no relay that cuts {what} {'can be reached' if tried else 'has been reached yet'}: {named}"]


def _heater_why_not(heater: Heater, now: float) -> list[str]:
    why: list[str] = []
    if heater.source.connected is False:
        why.append(f"{heater.heater} cannot be heard: connection {heater.source.link} is down")
    elif not heater.heard_live:
        why.append(f"{heater.heater} has not been heard yet, for {now - heater.since:.0f} s")
    elif heater.silent_told and not _rests(heater):
        why.append(f"{heater.heater} is silent for {now - heater.temperature_at:.0f} s")
    why += [f"check {name} of {heater.heater} failed" for name in sorted(heater.broken)]
    if heater.observer_failed:
        why.append(f"the observer of {heater.heater} failed")
    return why


def _rests(heater: Heater) -> bool:
    """It was seen cold with no heat asked for: a printer that its owner has switched off."""
    cold_c = heater.plan.cooling.cold_c
    return heater.temperature_c is not None and heater.temperature_c <= cold_c and not (heater.target_c or 0.0) > 0.0


def _idle(heater: Heater, now: float) -> bool:
    """Nothing heats: seen cold or cooling, with its target off. What is not known is not idle."""
    if heater.temperature_c is None:
        return False
    if heater.silent_told or now - heater.temperature_at > max(15.0, 2.5 * heater.source.longest_interval_s):
        return _rests(heater)
    if heater.duty is not None and heater.duty > 0.0 and heater.duty_at >= heater.target_at:
        return False
    if heater.target_c is None:
        return heater.temperature_c <= heater.plan.cooling.cold_c
    return heater.target_c <= 0.0
