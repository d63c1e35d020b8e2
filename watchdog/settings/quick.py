"""The way to settings for a start: as sound as `load`, and much sooner when nothing changed since they were found good."""

from pathlib import Path

from watchdog.settings.judge import judge
from watchdog.settings.load import Loaded, load
from watchdog.settings.model import MAIN_FILE, MainFile, PrinterFile, Settings
from watchdog.settings.read import Files, printer_name, read_all
from watchdog.settings.sheet import sheet_of
from watchdog.settings.trusted import construct
from watchdog.settings.validated_copy import kept


def load_quickly(directory: Path, state: Path) -> Loaded:
    """As `load`. Files that equal the copy validated in `state`, byte by byte, are not validated again.

    What depends on more than the files (secrets, programs, owners) is judged every time. Any doubt leads to `load`.
    """
    files = read_all(directory)
    settings = _unchanged(files, state) if not files.drafts else None
    if settings is None:
        return load(directory)
    sheet = sheet_of(directory, settings.main, files.values[MAIN_FILE], settings.printers, outside=True)
    return load(directory) if judge(sheet) else Loaded(settings, (), files.texts)


def _unchanged(files: Files, state: Path) -> Settings | None:
    if kept(state) != files.texts:
        return None
    try:
        main = construct(MainFile, files.values[MAIN_FILE])
        printers = {printer_name(file): construct(PrinterFile, values) for file, values in files.values.items() if file != MAIN_FILE}
    except (AttributeError, KeyError, TypeError, ValueError):  # only a copy that somebody wrote by hand
        return None
    return Settings(main, printers)
