"""`heatwarden status`: protected, or not and why."""

from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask
from watchdog.cli.output import complain, say, say_json
from watchdog.core.values import JsonObject
from watchdog.recorder.records import NOT_OPEN_YET
from watchdog.wire.control import Request

LATELY_S = 900.0
"""Older warnings are left to `--json` and the record."""

POWER = {
    "cutting": "power: commanded off, not confirmed yet",
    "confirmed": "power: off, as the relay says",
    "proven": "power: off, proven by its meter or by the temperature",
    "not confirmed": "power: NOT CONFIRMED OFF",
}
"""What the verdict on a cut means, to a person who reads it for the first time."""

LATE_S = 1.0
"""A guard that is later than this has not had the processor it needs."""


def run(config: Path, state: Path | None, *, as_json: bool, idle: bool) -> int:
    """Exit code 0 when protected (with --idle: when nothing heats), 1 when not, 69 without a guard."""
    try:
        reply = ask(config, state, Request("status"))
    except NoGuardError as error:
        if as_json:
            say_json({"state": "not protected", "idle": False, "error": str(error)})
        else:
            say("NOT PROTECTED: no guard answers")
        complain(str(error))
        return exit_codes.NO_GUARD
    if not reply["ok"]:
        complain(reply["error"])
        return exit_codes.NO_GUARD
    status = reply["status"]
    if as_json:
        say_json(status)
    elif idle:
        say(idle_line(status))
    else:
        for line in lines(status):
            say(line)
    yes = status["idle"] if idle else status["state"] == "protected"
    return exit_codes.OK if yes else exit_codes.NOT_SO


def idle_line(status: JsonObject) -> str:
    """Whether something heats, and what."""
    busy = [printer["name"] for printer in status["printers"] if not printer["idle"]]
    return f"something heats, or may: {', '.join(busy)}" if busy else "nothing heats"


def lines(status: JsonObject) -> list[str]:
    """The status as a person reads it; the first line says it all."""
    printers = status["printers"]
    tripped = [printer["name"] for printer in printers if printer["state"] == "tripped"]
    bare = [printer["name"] for printer in printers if printer["state"] == "not protected"]
    parts = [f"TRIPPED: {', '.join(tripped)}"] * bool(tripped) + [f"NOT PROTECTED: {', '.join(bare)}"] * bool(bare)
    first = "; ".join(parts) or f"protected: {', '.join(printer['name'] for printer in printers)}"
    if status["starting"] and bare:
        first += " (just started: sources and relays are still making contact)"
    out = [first]
    for printer in printers:
        out += ["", *_printer_lines(printer)]
    out += ["", *(_relay_line(relay) for relay in status["relays"]), *_guard_lines(status["guard"])]
    return out


def _printer_lines(printer: JsonObject) -> list[str]:
    out = [f"{printer['name']}: {printer['state']}"]
    latch = printer["latch"]
    if latch is not None:
        by = f", {latch['check']}" if latch["check"] else ""
        out.append(f"  trip {latch['trip']} at {latch['at_wall'] or 'an unknown time'}{by}: {latch['reason']}")
        failure = f": {latch['failure']}" if latch["failure"] else ""
        out.append(f"  {POWER.get(latch['verdict'], 'power: ' + latch['verdict'])}{failure}")
    out += [f"  why not: {why}" for why in printer["why_not"]]
    out += [f"  {dependence}" for dependence in printer["depends_on"]]
    for heater in printer["heaters"]:
        way = f" ({heater['fed']})" if heater["fed"] else ""
        out.append(f"  {heater['name']}: {_values(heater)}{way}")
        out += [f"    its sensor {sensor['name']}: {_sensor(sensor)}" for sensor in heater["sensors"]]
    return out


def _sensor(sensor: JsonObject) -> str:
    if sensor["temperature_c"] is None:
        return "not heard yet"
    silent = "" if sensor["counts"] else f" {sensor['age_s']:.0f} s ago, SILENT: it no longer counts"
    return f"{sensor['temperature_c']:.1f} degC{silent}"


def _values(heater: JsonObject) -> str:
    if heater["temperature_c"] is None:
        kept_c = heater["retained_c"]
        return "not heard yet" if kept_c is None else f"not heard yet; the broker kept {kept_c:.1f} degC, which is retained, not live"
    age = f", {heater['age_s']:.0f} s ago" if not heater["live"] else ""
    target = heater["target_c"]
    wanted = "target unknown" if target is None else "off" if target <= 0 else f"target {target:.0f}"
    share, check = heater["nearest"]
    near = f", nearest to a trip: {check} {share:.0%}" if share >= 0.5 else ""  # noqa: PLR2004 - half way to a trip is worth a word
    return f"{heater['temperature_c']:.1f} degC{age}, {wanted}, ceiling {heater['ceiling_c']:.0f}{near}"


def _relay_line(relay: JsonObject) -> str:
    reach = {True: "reachable", False: "NOT REACHABLE", None: "not heard yet"}[relay["reachable"]]
    parts = [reach]
    if relay["reachable"] and not relay["state"] and relay["power_w"] is None:
        parts.append("has not told its own state yet")
    if relay["state"]:
        parts.append(f"says {relay['state']}")
    if relay["power_w"] is not None:
        parts.append(f"{relay['power_w']:.0f} W")
    if relay["commanded_off"]:
        parts.append("commanded OFF, " + ("confirmed" if relay["confirmed"] else "NOT confirmed"))
    if relay["why"] and relay["reachable"] is False:
        parts.append(relay["why"])
    return f"relay {relay['name']}: {', '.join(parts)}"


def _warning_line(warning: JsonObject) -> str:
    where = f"{warning['printer']}: " if warning["printer"] else ""
    times = f" ({warning['count']} times)" if warning["count"] > 1 else ""
    return f"{warning['level']} {warning['age_s']:.0f} s ago: {where}{warning['sentence']}{times}"


def _guard_lines(guard: JsonObject) -> list[str]:
    out = [f"notice: {notice}" for notice in guard["notices"]]
    out += [_warning_line(warning) for warning in guard["warnings"] if warning["age_s"] <= LATELY_S]
    if not guard["record"]["ok"] and guard["record"]["last_error"] == NOT_OPEN_YET:
        out.append(f"{NOT_OPEN_YET}: protection comes first ({guard['record']['waiting']} waiting)")
    elif not guard["record"]["ok"]:
        out.append(f"the record cannot be written: {guard['record']['last_error']} ({guard['record']['waiting']} waiting)")
    out += [f"record: {notice}" for notice in guard["record"]["notices"]]
    if guard["record"]["lost"]:
        out.append(f"{guard['record']['lost']} records were lost: more came than could be kept while the record was in trouble")
    if guard["latch_file"]:
        out.append(f"THE LATCH FILE CANNOT BE WRITTEN: {guard['latch_file']}; a power cut of this computer would lose a latch")
    if guard["remainders_file"]:
        out.append(f"what is bypassed or has observed cannot be kept for a restart: {guard['remainders_file']}")
    if guard["worst_lag_s"] > LATE_S:
        out.append(f"a turn of the loop came {guard['worst_lag_s']:.1f} s late once: this computer is too busy, or was stopped")
    out += [f"page {page['name']}: {page['why']}" for page in guard["pages"] if page["why"]]
    if guard["refused_readings"]:
        out.append(f"{guard['refused_readings']} pushed readings were refused, wholly or in part; who pushed them was told why")
    if guard["dropped_readings"]:
        out.append(f"{guard['dropped_readings']} readings were dropped: they came faster than they could be judged")
    return out
