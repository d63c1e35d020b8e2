"""Whose power the meter of a relay shows: one thing's, and nobody else shows the same."""

from collections.abc import Iterator

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE, PrinterFile
from watchdog.settings.relay_tables import shows_heat
from watchdog.settings.sheet import Sheet, printer_file


def meters_of_relays(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `shows_heat`."""
    if sheet.main is None:
        return
    showing = [name for name, relay in sheet.main.relays.items() if shows_heat(relay)]
    for name in showing:
        if sheet.main.relays[name].cuts == "several":
            yield Draft(MAIN_FILE, _place(name), "meter-of-several", name)
    for printer, table in sheet.printers.items():
        first = f"{printer_file(printer)} meter" if table.meter else ""
        for name in _of_all(table):
            if name in showing and sheet.main.relays[name].cuts == "printer":
                if first:
                    yield Draft(MAIN_FILE, _place(name), "meter-twice", name, said={"other": first})
                first = first or name
        for heater in table.heaters.values():
            own = [name for name in heater.relays if name in showing and sheet.main.relays[name].cuts == "heater"]
            for name in own[1:]:
                yield Draft(MAIN_FILE, _place(name), "meter-twice", name, said={"other": own[0]})


def _of_all(table: PrinterFile) -> tuple[str, ...]:
    """Every relay that a printer or one of its heaters names, once."""
    return tuple(dict.fromkeys(name for _, relays in table.relays_by_owner() for name in relays))


def _place(name: str) -> KeyPath:
    return ("relays", name, "meter", "shows_heat")
