"""What is put on record about a relay."""

from watchdog.core.inputs import RelayReport
from watchdog.core.outputs import Event, EventKind, Level, Output
from watchdog.core.relay import Relay


def relay_event(relay: Relay, at: float, kind: EventKind, level: Level, what: str, printer: str = "", trip: str = "") -> Event:
    """An event about one relay, on behalf of one printer."""
    numbers = {} if relay.power_w is None else {"power_w": relay.power_w}
    return Event(at, kind, level, f"relay {relay.name} {what}", printer=printer, trip=trip, relay=relay.name, numbers=numbers)


def news(
    relay: Relay, report: RelayReport, before: tuple[bool | None, bool | None], at: float, printer: str = "", trip: str = ""
) -> list[Output]:
    """What is new in a report; `before` is whether the relay could be reached and had taken the command until now."""
    told: list[Output] = []

    def tell(kind: EventKind, level: Level, what: str) -> None:
        told.append(relay_event(relay, at, kind, level, what, printer, trip))

    reachable, sent = before
    if report.reachable is not None and report.reachable is not reachable:
        if report.reachable:
            tell("relay reachable", "info", "can be reached")
        else:
            tell("relay unreachable", "warning", f"cannot be reached: {report.why or 'no reason given'}")
    elif report.why and report.sent is None:
        tell("relay notice", "warning", f"reports: {report.why}")
    if not relay.demanded or relay.sent is sent:
        return told
    if relay.sent:
        tell("relay sent", "info", "took the command OFF")
    elif relay.sent is False:
        tell("relay failed", "warning", f"did not take the command OFF: {report.why}")
    return told
