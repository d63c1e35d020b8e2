"""`heatwarden limits PRINTER`: every limit, where it comes from and why; and what physics expect of each heater.

With `--json`, one object on standard output:

    {"printer": NAME, "order": ["settings", "learnt", "facts", "class of heater"],
     "heaters": {HEATER: {"kind", "limits": [{"check", "key", "value", "origin", "why"}],
                          "physics": [{"what", "unit", "least", "usual", "most"}],
                          "verdict": SENTENCE, "remarks": [SENTENCE]}}}

`value` is in the unit that `key` ends in; null stands for "never" in physics.
"""

from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from watchdog.cli import exit_codes
from watchdog.cli.output import say_json
from watchdog.cli.printers import find
from watchdog.settings.explained import lines, remarks, verdict
from watchdog.settings.heater_facts import Origin
from watchdog.settings.limits import resolve
from watchdog.settings.model import Heater

if TYPE_CHECKING:
    from rich.console import Console

ORDER: tuple[str, ...] = get_args(Origin)
WIDTH_WITHOUT_TERMINAL = 120


def run(config: Path, printer: str, *, as_json: bool) -> int:
    """Exit code 0, 2 for a printer that is not there, 78 for settings that cannot be read."""
    found = find(config, printer, outside=True)
    if isinstance(found, int):
        return found
    _, table = found
    if as_json:
        say_json({"printer": printer, "order": list(ORDER), "heaters": {name: _plain(heater) for name, heater in table.heaters.items()}})
    else:
        _show(printer, table.heaters)
    return exit_codes.OK


def _plain(heater: Heater) -> dict[str, Any]:
    return {
        "kind": heater.kind,
        "limits": [asdict(limit) for limit in resolve(heater)],
        "physics": [
            {key: value if not isinstance(value, float) or isfinite(value) else None for key, value in line._asdict().items()}
            for line in lines(heater)
        ],
        "verdict": verdict(heater),
        "remarks": list(remarks(heater)),
    }


def _show(printer: str, heaters: dict[str, Heater]) -> None:
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=False, markup=False)
    if not console.is_terminal:
        console = Console(highlight=False, markup=False, width=WIDTH_WITHOUT_TERMINAL)
    console.print(f"{printer}: a limit comes from {', else '.join(ORDER)}")
    for name, heater in heaters.items():
        _show_heater(console, name, heater)


def _show_heater(console: "Console", name: str, heater: Heater) -> None:
    from rich.table import Table

    console.print(f"\n{name} ({heater.kind})")
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, pad_edge=False)
    for column in ("check", "limit", "value", "from", "why"):
        table.add_column(column, justify="right" if column == "value" else "left", no_wrap=column != "why")
    last = ""
    for limit in resolve(heater):
        table.add_row("" if limit.check == last else limit.check, limit.key, f"{limit.value:g}", limit.origin, limit.why)
        last = limit.check
    console.print(table)
    physics = lines(heater)
    if physics:
        console.print(f"\nwhat physics expect of {name}, usual (least to most):")
        grid = Table(box=None, padding=(0, 2, 0, 0), show_header=False, pad_edge=False)
        for line in physics:
            grid.add_row(line.what, line.sentence)
        console.print(grid)
    for sentence in (*filter(None, [verdict(heater)]), *remarks(heater)):
        console.print(f"- {sentence}")
