"""The settings of one printer, for commands that need no guard."""

from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.output import complain
from watchdog.settings.load import load
from watchdog.settings.model import PrinterFile, Settings


def find(config: Path, printer: str, *, outside: bool) -> tuple[Settings, PrinterFile] | int:
    """All settings, and those of the printer; or the exit code, after saying what is wrong. `outside` as for `load`."""
    loaded = load(config, outside=outside)
    if loaded.settings is None:
        complain(f"the settings in {config} have {len(loaded.problems)} problem(s); `heatwarden check --config {config}` lists them all")
        return exit_codes.BAD_SETTINGS
    table = loaded.settings.printers.get(printer)
    if table is None:
        complain(f"there is no printer {printer!r}; there are: {', '.join(loaded.settings.printers)}")
        return exit_codes.BAD_INPUT
    return loaded.settings, table
