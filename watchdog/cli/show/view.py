"""The live view of the demo: a table on a terminal, plain lines elsewhere."""

from typing import Protocol

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from watchdog.core.values import JsonObject
from watchdog.wire.plain_text import printable

LINES = 14


class View(Protocol):
    """What the demo tells."""

    def event(self, line: str) -> None: ...

    def status(self, status: JsonObject) -> None: ...


class PlainView:
    """A line an event, and one line of temperatures every few seconds."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._said_at = -100.0

    def event(self, line: str) -> None:
        self._console.print(Text(printable(line, 300)), soft_wrap=True)

    def status(self, status: JsonObject) -> None:
        if status["running_s"] - self._said_at < 5.0:  # noqa: PLR2004 - enough for a log
            return
        self._said_at = status["running_s"]
        parts = [
            f"{printer['name']} " + " ".join(f"{heater['name']} {_degrees(heater)}" for heater in printer["heaters"])
            for printer in status["printers"]
        ]
        self._console.print(Text("          read " + "; ".join(parts)), soft_wrap=True)


class LiveView:
    """A table of printers that is redrawn, and the newest events below it."""

    def __init__(self, live: Live) -> None:
        self._live = live
        self._lines: list[str] = []
        self._table = Table()

    def event(self, line: str) -> None:
        self._lines = [*self._lines, printable(line, 300)][-LINES:]
        self._draw()

    def status(self, status: JsonObject) -> None:
        table = Table(title="heatwarden demo: three pretend printers over a real broker", title_justify="left")
        for column in ("printer", "bed", "hotend", "plug", "power", "state"):
            table.add_column(column)
        relays = {relay["name"]: relay for relay in status["relays"]}
        for printer in status["printers"]:
            relay = relays[printer["relays"][0]]
            watts = "" if relay["power_w"] is None else f"{relay['power_w']:.0f} W"
            plug = {"on": "closed", "off": "open"}.get(relay["state"], "?")
            style = {"tripped": "bold red", "protected": "green"}.get(printer["state"], "yellow")
            verdict = f"{printer['state']}, power {printer['latch']['verdict']}" if printer["latch"] else printer["state"]
            temperatures = [_degrees(heater) for heater in printer["heaters"]]
            table.add_row(printer["name"], *temperatures, plug, watts, Text(verdict, style=style))
        self._table = table
        self._draw()

    def _draw(self) -> None:
        self._live.update(Group(self._table, *(Text(line) for line in self._lines)))


def _degrees(heater: JsonObject) -> str:
    if heater["temperature_c"] is None:
        return "-"
    silent = "" if heater["live"] else " (silent)"
    return f"{heater['temperature_c']:.1f}/{heater['target_c'] or 0:.0f}{silent}"
