"""The live view of the demo: lines that stay, above a table that is redrawn. Where there is no terminal, lines only."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from watchdog.cli.show.pace import minutes
from watchdog.cli.show.printers import Part
from watchdog.cli.show.props import Bench
from watchdog.cli.show.telling import Line
from watchdog.core.values import JsonObject
from watchdog.wire.plain_text import printable

STYLES = {"happens": "magenta", "seen": "bold yellow", "cut": "bold red", "confirmed": "bold green", "alarm": "bold white on red"}
READ_EVERY_S = 40.0
LONGEST_TEXT = 300


class View(Protocol):
    """What the demo shows."""

    def line(self, line: Line) -> None: ...

    def status(self, status: JsonObject, benches: Sequence[Bench], at_s: float) -> None: ...


@contextmanager
def view_on(console: Console) -> Iterator[View]:
    """The view that suits this console."""
    if console.is_interactive:
        with Live(console=console, refresh_per_second=4) as live:
            yield LiveView(live)
    else:
        yield PlainView(console)


class PlainView:
    """A line for each thing, and one of temperatures every 40 s of the workshop."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._said_s = 0.0

    def line(self, line: Line) -> None:
        text = f"{minutes(line.at_s):>5}  {line.word:<9}  {line.printer}: {printable(line.text, LONGEST_TEXT)}"
        self._console.print(Text(text), soft_wrap=True)

    def status(self, status: JsonObject, benches: Sequence[Bench], at_s: float) -> None:
        if at_s < self._said_s:
            return
        self._said_s = at_s + READ_EVERY_S
        printers = {printer["name"]: printer for printer in status["printers"]}
        told = [f"{bench.part.name} {_told(printers[bench.part.name], bench)}" for bench in benches]
        self._console.print(Text(f"{minutes(at_s):>5}  read       {'; '.join(told)} (degC)"), soft_wrap=True)


class LiveView:
    """The printers in a table at the bottom; what happens scrolls by above it and stays."""

    def __init__(self, live: Live) -> None:
        self._live = live

    def line(self, line: Line) -> None:
        text = Text(f"{line.printer}: {printable(line.text, LONGEST_TEXT)}")
        self._live.console.print(_row((5, minutes(line.at_s)), (9, Text(line.word, style=STYLES.get(line.word, ""))), rest=text))

    def status(self, status: JsonObject, benches: Sequence[Bench], at_s: float) -> None:
        table = Table(title=f"the workshop at {minutes(at_s)}: reading / target, in degC", title_justify="left")
        for column in ("printer", "bed", "hotend", "hottest inside", "plug", "power", "state"):
            table.add_column(column, justify="left" if column in {"printer", "plug", "state"} else "right", no_wrap=True)
        plugs = {relay["name"]: relay for relay in status["relays"]}
        printers = {printer["name"]: printer for printer in status["printers"]}
        for bench in benches:
            printer = printers[bench.part.name]
            plug = plugs[printer["relays"][0]]
            watts = "" if plug["power_w"] is None else f"{plug['power_w']:.0f} W"
            says = {"on": "closed", "off": "open"}.get(plug["state"], "?")
            read = map(_read, printer["heaters"]) if bench.powered else ("dark", "dark")
            table.add_row(bench.part.name, *read, _hottest(bench), says, watts, _state(printer))
        self._live.update(table)


def tell_part(console: Console, part: Part) -> None:
    """One printer and its story."""
    if console.is_terminal:
        console.print(_row((9, f"  {part.name}"), rest=Text(f"{part.story}.")))
    else:
        console.print(f"  {part.name:<8} {part.story}.", soft_wrap=True)


def _row(*columns: tuple[int, str | Text], rest: Text) -> Table:
    """Columns of fixed width, and a text that wraps behind them."""
    row = Table.grid(padding=(0, 1))
    for width, _ in columns:
        row.add_column(width=width)
    row.add_column(overflow="fold")
    row.add_row(*(cell for _, cell in columns), rest)
    return row


def _told(printer: JsonObject, bench: Bench) -> str:
    if not bench.powered:
        return "dark"
    return ", ".join(f"{heater['name']} {_read(heater)}" for heater in printer["heaters"])


def _state(printer: JsonObject) -> Text:
    if printer["latch"]:
        return Text(f"cut, power off {printer['latch']['verdict']}", style="bold red")
    return Text(printer["state"], style="green" if printer["state"] == "protected" else "yellow")


def _read(heater: JsonObject) -> str:
    if heater["temperature_c"] is None:
        return "-"
    return f"{heater['temperature_c']:.1f} / {heater['target_c'] or 0:.0f}" if heater["live"] else "silent"


def _hottest(bench: Bench) -> str:
    """The hottest spot of the heater that is, or would be, in danger; else of its hottest heater."""
    danger = bench.part.danger or max(bench.now_c, key=lambda name: bench.now_c[name], default="")
    return f"{bench.now_c[danger]:.0f} ({danger})" if danger in bench.now_c else "-"
