"""When a latched printer may be released."""

from math import log

from watchdog.core.cut import Cut
from watchdog.core.heater import Heater
from watchdog.core.inputs import Reset
from watchdog.core.printer import Printer, healthy

AMBIENT_C = 25.0
"""The air a heater cools towards, in degrees Celsius, where nobody measures it."""


def refusal(printer: Printer, cut: Cut | None, command: Reset, read_from: float) -> str:
    """Why a reset is refused, with what to do about it; empty when it may go ahead. Only readings after `read_from` count."""
    if printer.latch is None:
        return f"{printer.name} is not latched: there is nothing to reset"
    if not command.person.strip() or not command.reason.strip():
        return "a reset needs the name of a person and a reason, both on record"
    if (cut is None or cut.verdict not in ("confirmed", "proven")) and not command.vouched:
        return (
            f"the power of {printer.name} is not confirmed off. Look at the relay and the printer; "
            "if you have seen with your own eyes that it is off, say so (--vouched)"
        )
    for heater in printer.heaters:
        why = _heater_refusal(heater, cut, command, read_from)
        if why:
            return why
    return ""


def is_unread(printer: Printer, at: float, read_from: float) -> bool:
    """True when some heater is not heard: its release is followed by probation."""
    return any(not (_is_fresh(heater, at) and heater.temperature_at > read_from) for heater in printer.heaters)


def _heater_refusal(heater: Heater, cut: Cut | None, command: Reset, read_from: float) -> str:
    if _is_fresh(heater, command.at):
        if healthy(heater):
            return "" if heater.temperature_at > read_from else _unread_refusal(heater, cut, command)
        shown_c = heater.hottest_c if heater.hottest_c is not None else heater.temperature_c
        return (
            f"{heater.heater} reads {shown_c:.1f} degC, which is not healthy "
            f"(its ceiling is {heater.plan.ceiling_c:.0f} degC): let it cool or mend its sensor first"
        )
    return _unread_refusal(heater, cut, command)


def _unread_refusal(heater: Heater, cut: Cut | None, command: Reset) -> str:
    """What it said before its power went tells nothing of a heater whose board has fallen silent since."""
    if command.unread:
        return ""
    waits_s = seconds_until_cold(heater, cut, command.at)
    if waits_s is not None and waits_s <= 0.0:
        return ""
    known = "how hot it is cannot be told" if waits_s is None else f"by its slowest cooling it may be hot for {waits_s / 60.0:.0f} min more"
    todo = "Wait, or touch nothing, look, and say that it is unread (--unread)"
    return f"{heater.heater} is not heard since its power went, and {known}. {todo}"


def _is_fresh(heater: Heater, at: float) -> bool:
    return heater.temperature_c is not None and at - heater.temperature_at <= max(15.0, 2.5 * heater.source.longest_interval_s)


def seconds_until_cold(heater: Heater, cut: Cut | None, at: float) -> float | None:
    """How long an unread heater may still be hot, by Newton's law of cooling with its slowest time constant; None if unknown.

    t = tau ln((T0 - Ta) / (Tcold - Ta)), e.g. Incropera, lumped capacitance.
    """
    if heater.temperature_c is None or cut is None:
        return None
    cooling = heater.plan.cooling
    start_c = heater.temperature_c + cooling.stored_rise_k
    if start_c <= cooling.cold_c:
        return 0.0
    if cooling.cold_c <= AMBIENT_C:
        return None
    takes_s = cooling.time_constant_s * log((start_c - AMBIENT_C) / (cooling.cold_c - AMBIENT_C))
    return takes_s - (at - heater.temperature_at)
