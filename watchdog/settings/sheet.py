"""Everything that was read, as far as it can be judged: what the rules work on."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE, PRINTERS, Heater, MainFile, PrinterFile
from watchdog.settings.read import is_name


@dataclass(frozen=True, slots=True)
class Sheet:
    """`main` None: nothing of it could be read. `broker_names`, `page_names` and `relay_names` are all that were described, sound or not.

    `outside` is false when only the files themselves are to be judged, and not the secrets and programs they name.
    """

    directory: Path
    main: MainFile | None
    broker_names: tuple[str, ...]
    page_names: tuple[str, ...]
    relay_names: tuple[str, ...]
    printers: dict[str, PrinterFile]
    outside: bool

    def endpoint(self, broker: str) -> str:
        """Host and port, so that one broker under two names is still one; the name when it is not known."""
        entry = self.main.brokers.get(broker) if self.main else None
        return f"{entry.host}:{entry.port}" if entry else broker

    def heaters(self) -> Iterator[tuple[str, str, Heater]]:
        """File, name and heater of every heater there is."""
        for printer, table in self.printers.items():
            for name, heater in table.heaters.items():
                yield printer_file(printer), name, heater


def printer_file(printer: str) -> str:
    """The file of a printer, relative to the settings directory."""
    return f"{PRINTERS}/{printer}.toml"


def sheet_of(directory: Path, main: MainFile | None, raw_main: dict[str, Any], printers: dict[str, PrinterFile], *, outside: bool) -> Sheet:
    """Put together what could be read."""
    names = {key: tuple(raw_main[key]) if isinstance(raw_main.get(key), dict) else () for key in ("brokers", "pages", "relays")}
    return Sheet(directory, main, names["brokers"], names["pages"], names["relays"], printers, outside)


def names(sheet: Sheet) -> Iterator[Draft]:
    """Every name that the owner chose fits topics, file names and command lines."""
    if sheet.main:
        if not is_name(sheet.main.site):
            yield Draft(MAIN_FILE, ("site",), "name", sheet.main.site)
        for table, chosen in (("brokers", sheet.broker_names), ("pages", sheet.page_names), ("relays", sheet.relay_names)):
            yield from _bad_names(MAIN_FILE, (table,), chosen)
    for printer, table_of_printer in sheet.printers.items():
        yield from _bad_names(printer_file(printer), ("heaters",), tuple(table_of_printer.heaters))
    for file, heater, settings in sheet.heaters():
        yield from _bad_names(file, ("heaters", heater, "sensors"), tuple(settings.sensors))


def _bad_names(file: str, path: KeyPath, chosen: tuple[str, ...]) -> Iterator[Draft]:
    return (Draft(file, (*path, name), "name", name) for name in chosen if not is_name(name))
