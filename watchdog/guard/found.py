"""What stands when the guard starts: latches from the latch file, marks without one, and what to make of damage."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from watchdog.core.latch import Latch, unknown_latch
from watchdog.core.plan import PrinterPlan, RelayPlan, SitePlan


@dataclass(slots=True)
class Found:
    """The latches to take up, and what people must be told about how they were found."""

    latches: dict[str, Latch] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)


def settle(stored: Mapping[str, Latch], marked: Iterable[str], damage: str, plan: SitePlan) -> Found:
    """Latches as stored; a mark without a latch, or damage, latches with an unknown trip.

    `damage` says what is wrong with latch file or marks; empty when both are good. Then only marked printers count.
    """
    found = Found(dict(stored))
    addresses = {relay.name: relay.address for relay in plan.relays}
    printers = {printer.name: printer for printer in plan.printers}
    lost = [name for name in (printers if damage else marked) if name not in found.latches]
    for name in lost:
        printer = printers.get(name)
        if printer is None:
            found.told.append(f"the mark of {name} stands, but it is no longer in the settings: no relay of it is known")
            continue
        relays = relays_of(printer)
        found.latches[name] = unknown_latch(name, relays, {relay: addresses[relay] for relay in relays})
        why = damage or "a trip was under way when the guard ended"
        found.told.append(f"{name} starts latched: {why}")
    return found


def relays_of(printer: PrinterPlan) -> tuple[str, ...]:
    """Every relay that may cut something of a printer, its heaters' own first."""
    own = tuple(relay for heater in printer.heaters for relay in heater.relays)
    return tuple(dict.fromkeys(own + printer.relays))


def with_ghosts(plan: SitePlan, found: Found, relay_plan: Callable[[str, dict[str, object]], RelayPlan]) -> SitePlan:
    """The plan with what only latches still know: removed printers, and relays that are gone or were re-addressed.

    `found.latches` is brought in line: a relay whose address changed since the trip is commanded at its old address too.
    """
    relays = {relay.name: relay for relay in plan.relays}
    printers = {printer.name: printer for printer in plan.printers}
    for name, latch in list(found.latches.items()):
        names: list[str] = []
        for relay in latch.relays:
            address = latch.addresses.get(relay, {})
            known = relays.get(relay)
            if known is not None:
                names.append(relay)
            if address and (known is None or known.address != address):
                ghost = f"{relay} (as latched)"
                relays[ghost] = relay_plan(ghost, address)
                names.append(ghost)
        unknown = [relay for relay in latch.relays if relay not in relays and not latch.addresses.get(relay)]
        if unknown:
            found.told.append(f"the latch of {name} names relays nobody knows any more: {', '.join(unknown)}")
        addresses = {relay: relays[relay].address for relay in names}
        found.latches[name] = Latch.from_json(latch.to_json() | {"relays": names, "addresses": addresses})
        if name not in printers:
            printers[name] = PrinterPlan(name, (), tuple(names))
            found.told.append(f"{name} is latched but no longer in the settings: it stays latched until it is reset")
    return SitePlan(plan.site, tuple(printers.values()), tuple(relays.values()))
