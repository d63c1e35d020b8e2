"""Which relays serve which printers: every heater has one, and none is promised to more than it can serve."""

from collections.abc import Iterator

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import PrinterFile
from watchdog.settings.sheet import Sheet, printer_file


def use_of_relays(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with the lists named `relays` in the printers' files."""
    by_printer: dict[str, str] = {}
    for printer, table in sheet.printers.items():
        file = printer_file(printer)
        without = [name for name, heater in table.heaters.items() if not heater.relays]
        if not table.heaters:
            yield Draft(file, ("heaters",), "no-heaters")
        elif not table.relays and without:
            yield Draft(file, ("relays",), "no-relay", said={"heaters": ", ".join(without)})
        by_heater: dict[str, str] = {}
        for path, owner, relays in _lists(table):
            yield from _known(sheet, file, path, relays)
            for number, name in enumerate(relays):
                here = (*path, number)
                yield from _shared(sheet, file, here, name, by_printer.setdefault(name, printer), printer)
                yield from _one_heater(sheet, table, Draft(file, here, "", name), by_heater.setdefault(name, owner), owner)


def _lists(table: PrinterFile) -> Iterator[tuple[KeyPath, str, tuple[str, ...]]]:
    """Where a list stands, whose it is ("" is the whole printer's), and what is in it."""
    for owner, relays in table.relays_by_owner():
        yield (("heaters", owner, "relays") if owner else ("relays",)), owner, relays


def _known(sheet: Sheet, file: str, path: KeyPath, relays: tuple[str, ...]) -> Iterator[Draft]:
    for number, name in enumerate(relays):
        if name in relays[:number]:
            yield Draft(file, (*path, number), "relay-twice", name)
        elif sheet.main and name not in sheet.relay_names:
            yield Draft(file, (*path, number), "unknown-relay", name, names=sheet.relay_names)


def _cuts(sheet: Sheet, name: str) -> str:
    relay = sheet.main.relays.get(name) if sheet.main else None
    return relay.cuts if relay else "several"


def _shared(sheet: Sheet, file: str, path: KeyPath, name: str, first: str, printer: str) -> Iterator[Draft]:
    if first != printer and _cuts(sheet, name) != "several":
        yield Draft(file, path, "relay-shared", name, said={"other": first, "cuts": _cuts(sheet, name)})


def _one_heater(sheet: Sheet, table: PrinterFile, draft: Draft, first: str, owner: str) -> Iterator[Draft]:
    """A relay that cuts one heater only must not stand for another one."""
    if _cuts(sheet, draft.value) != "heater":
        return
    if not owner and len(table.heaters) > 1:
        yield Draft(draft.file, draft.path, "relay-for-one-heater", draft.value, said={"heaters": ", ".join(table.heaters)})
    elif first and owner != first:
        yield Draft(draft.file, draft.path, "heater-relay-shared", draft.value, said={"other": first})
