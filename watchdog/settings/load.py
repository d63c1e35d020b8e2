"""A settings directory to checked settings, or to all of its problems at once."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from watchdog.settings.draft import Draft
from watchdog.settings.judge import judge
from watchdog.settings.model import MAIN_FILE, MainFile, PrinterFile, Settings
from watchdog.settings.read import Files, printer_name, read_all
from watchdog.settings.sheet import sheet_of

if TYPE_CHECKING:
    from watchdog.settings.problem import Problem


@dataclass(frozen=True, slots=True)
class Loaded:
    """Either `settings`, or at least one of `problems`. `texts` are the exact bytes of the files, by relative name."""

    settings: Settings | None
    problems: "tuple[Problem, ...]" = ()
    texts: dict[str, bytes] = field(default_factory=dict)


def load(directory: Path, *, outside: bool = True) -> Loaded:
    """Read and judge all files. Never raises for what stands in them.

    `outside` false leaves alone what the files only name: secret files, programs, the owner of the main file.
    """
    files = read_all(directory)
    drafts = list(files.drafts)
    main, printers = _shapes(files, drafts)
    sheet = sheet_of(directory, main, files.values.get(MAIN_FILE, {}), printers, outside=outside)
    drafts += judge(sheet, tuple(drafts))
    if drafts or main is None:
        from watchdog.settings.problem import problems  # noqa: PLC0415 - a start without problems must not pay for it

        return Loaded(None, problems(drafts, files), files.texts)
    return Loaded(Settings(main, printers), (), files.texts)


def _shapes(files: Files, drafts: list[Draft]) -> tuple[MainFile | None, dict[str, PrinterFile]]:
    from watchdog.settings.shape import Shape  # noqa: PLC0415 - it brings the validator, which load_quickly spares

    main, printers = None, {}
    of_main, of_printer = Shape(MainFile), Shape(PrinterFile)
    for file, values in files.values.items():
        if file == MAIN_FILE:
            main, found = of_main.check(file, values)
        else:
            printer, found = of_printer.check(file, values)
            if printer is not None:
                printers[printer_name(file)] = printer
        drafts += found
    return main, printers
