"""`heatwarden check`: are the settings good, what do they come to, and what do they leave open?

With `--json`, one object on standard output, whether good or not:

    {"ok": true, "config": DIR, "site": NAME, "problems": [],
     "printers": {PRINTER: {
         "heaters": {HEATER: {"kind": "bed" | "hotend" | "chamber",
                              "readings": [SENTENCE],
                              "limits": [{"check", "key", "value", "origin", "why"}],
                              "cut_by": [{"relay", "cuts", "evidence": ["echo" | "meter" | "temperature falling"]}]}},
         "not_protected": [SENTENCE],
         "if_this_computer_dies": SENTENCE}},
     "not_protected": [SENTENCE], "cautions": [SENTENCE]}

    {"ok": false, "config": DIR, "site": null, "printers": {}, "not_protected": [], "cautions": [SENTENCE],
     "problems": [{"file", "line", "key", "found", "allowed", "hint", "code"}]}

`value` is in the unit that `key` ends in; `file` is relative to the directory; `line` is 0 where there is none.
"""

import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import orjson

from watchdog.cli.caution import CAUTIONS, IF_THIS_COMPUTER_DIES
from watchdog.settings.load import Loaded, load
from watchdog.settings.protection import HeaterProtection, PrinterProtection, protection

if TYPE_CHECKING:
    from rich.console import Console

GOOD = 0
BAD_SETTINGS = 78
"""EX_CONFIG of sysexits: the service manager need not try again before somebody has mended the files."""

_WIDTH_WITHOUT_TERMINAL = 160


def run(config: Path, as_json: bool, all_limits: bool = False) -> int:
    """Check the settings directory `config` and print what was found. Returns the exit status: 0, or 78 with problems.

    Limits that are usual for a class of heater are only counted, unless `all_limits`; JSON always holds all of them.
    """
    loaded = load(config)
    if as_json:
        sys.stdout.buffer.write(orjson.dumps(_plain(config, loaded), option=orjson.OPT_INDENT_2) + b"\n")
        sys.stdout.flush()
    elif loaded.settings is None:
        _print_problems(config, loaded)
    else:
        _print_protection(loaded, all_limits)
    return BAD_SETTINGS if loaded.settings is None else GOOD


def _plain(config: Path, loaded: Loaded) -> dict[str, Any]:
    found = protection(loaded.settings) if loaded.settings else None
    return {
        "ok": loaded.settings is not None,
        "config": str(config),
        "site": loaded.settings.main.site if loaded.settings else None,
        "problems": [asdict(problem) for problem in loaded.problems],
        "printers": {name: _plain_printer(printer) for name, printer in found.printers.items()} if found else {},
        "not_protected": list(found.lacks) if found else [],
        "cautions": list(CAUTIONS),
    }


def _plain_printer(printer: PrinterProtection) -> dict[str, Any]:
    return {
        "heaters": {name: asdict(heater) for name, heater in printer.heaters.items()},
        "not_protected": list(printer.lacks),
        "if_this_computer_dies": IF_THIS_COMPUTER_DIES,
    }


def _print_problems(config: Path, loaded: Loaded) -> None:
    count = len(loaded.problems)
    print(f"{config}: {count} problem{'s' if count > 1 else ''}; nothing was started or changed", file=sys.stderr)
    for problem in loaded.problems:
        print(f"{config}/{problem}" if problem.file else f"{config}: {str(problem).removeprefix('.: ')}", file=sys.stderr)


def _print_protection(loaded: Loaded, all_limits: bool) -> None:
    # Late: a program that asks for JSON need not wait for it.
    from rich.console import Console

    assert loaded.settings is not None
    found = protection(loaded.settings)
    width = None if sys.stdout.isatty() else _WIDTH_WITHOUT_TERMINAL
    console = Console(width=width, highlight=False, markup=False, emoji=False, soft_wrap=True)
    console.print(f"{loaded.settings.main.site}: the settings are good")
    for name, printer in found.printers.items():
        console.print(f"\n{name}", style="bold")
        for heater, heater_protection in printer.heaters.items():
            _print_heater(console, heater, heater_protection, all_limits)
        _print_list(console, "  not protected:", printer.lacks)
        console.print(f"  {IF_THIS_COMPUTER_DIES}")
    _print_list(console, "\nthe whole site, not protected:", found.lacks)
    _print_list(console, "\nthe usual cautions:", CAUTIONS)


def _print_heater(console: "Console", name: str, heater: HeaterProtection, all_limits: bool) -> None:
    console.print(f"  {name} ({heater.kind})")
    _print_table(console, "    readings:", [(way,) for way in heater.readings])
    cuts = [(cut.relay, f"cuts {cut.cuts}", f"confirmed by {' or '.join(cut.evidence) or 'nothing'}") for cut in heater.cut_by]
    _print_table(console, "    cut by, in this order:", cuts)
    shown = [limit for limit in heater.limits if all_limits or limit.origin != "class of heater" or limit.key == "above_c"]
    rows = [(limit.check, limit.key, f"{limit.value:g}", limit.origin, limit.why) for limit in shown]
    _print_table(console, "    limits:", rows)
    if len(shown) < len(heater.limits):
        console.print(
            f"      and {len(heater.limits) - len(shown)} more as is usual for a {heater.kind}: `heatwarden check --limits` shows them"
        )


def _print_list(console: "Console", title: str, sentences: tuple[str, ...]) -> None:
    if sentences:
        console.print(title)
    for sentence in sentences:
        console.print(f"    - {sentence}")


def _print_table(console: "Console", title: str, rows: Sequence[tuple[str, ...]]) -> None:
    from rich.table import Table

    console.print(title)
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for row in rows:
        table.add_row("    ", *row)
    console.print(table)
