"""Settings for a guard under test: short intervals that are still legal, written as a person would write them."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

TOPIC = "millbrook"


@dataclass(frozen=True, kw_only=True)
class HeaterTable:
    """One heater. `more` are further lines of its `readings`, `limits` further limit tables, `sensors` names of further sensors.

    With `page`, its readings are polled from the page of that name, and not heard from a broker.
    """

    name: str = "bed"
    kind: str = "bed"
    broker: str = "shed"
    topic: str = ""
    page: str = ""
    interval_s: float = 0.25
    advise_s: float = 2.0
    grace_s: float = 3.0
    confirm_s: float = 0.25
    facts: str = ""
    more: str = ""
    limits: str = ""
    sensors: tuple[str, ...] = ()

    def text(self, printer: str) -> str:
        topic = self.topic or f"{TOPIC}/{printer}/{self.name}"
        place = f"[heaters.{self.name}"
        interval = f"longest_interval_s = {self.interval_s}\n"
        readings = f'broker = "{self.broker}"\n{interval}'
        first = f'page = "{self.page}"\n{interval}' if self.page else f'{readings}topic = "{topic}"\n'
        lines = [f'{place}]\nkind = "{self.kind}"\n{self.facts}', f"{place}.readings]\n{first}{self.more}"]
        lines += [f'{place}.sensors.{name}]\n{readings}topic = "{topic}/{name}"\n' for name in self.sensors]
        lines += [f"{place}.limits.no_readings]\nadvise_s = {self.advise_s}\ngrace_s = {self.grace_s}\n"]
        lines += [f"{place}.limits.ceiling]\nconfirm_s = {self.confirm_s}\n{self.limits}"]
        return "\n".join(lines)


@dataclass(frozen=True, kw_only=True)
class PlugTable:
    """A plug on MQTT with presence. The pretend board stays alive when it opens, unless `feeds_board`."""

    name: str
    broker: str = "shed"
    meter: bool = False
    meter_within_s: float = 2.0
    shows_heat: bool = False
    echo_within_s: float = 1.5
    sent_within_s: float = 1.0
    feeds_board: bool = False
    cuts: str = "printer"

    def topic(self, part: str) -> str:
        return f"{TOPIC}/plugs/{self.name}/{part}"

    def text(self) -> str:
        lines = [
            f'[relays.{self.name}]\nkind = "mqtt"\nbroker = "{self.broker}"\ncuts = "{self.cuts}"',
            f"feeds_board = {str(self.feeds_board).lower()}",
            f"sent_within_s = {self.sent_within_s}\necho_within_s = {self.echo_within_s}",
            f'order = {{ topic = "{self.topic("order")}" }}',
            f'echo = {{ topic = "{self.topic("echo")}" }}',
            f'presence = {{ topic = "{self.topic("presence")}" }}',
        ]
        if self.meter:
            more = f"within_s = {self.meter_within_s}, shows_heat = {str(self.shows_heat).lower()}"
            lines.append(f'meter = {{ topic = "{self.topic("watts")}", pointer = "/power_w", {more} }}')
        return "\n".join(lines) + "\n"


@dataclass(frozen=True, kw_only=True)
class ProgramTable:
    """A relay that a program opens: the way that needs no broker."""

    name: str
    program: Path
    ask: bool = True

    def text(self) -> str:
        ask = f'ask = ["{self.program}", "ask"]\nask_every_s = 5.0\n' if self.ask else ""
        off = f'off = ["{self.program}", "off"]\n'
        return f'[relays.{self.name}]\nkind = "command"\ncuts = "printer"\nfeeds_board = false\ntime_limit_s = 2.0\n{off}{ask}'


@dataclass(frozen=True, kw_only=True)
class HttpTable:
    """A relay with an HTTP interface, as rig.http_plug has it: another way that needs no broker. `more` are further keys of it."""

    name: str
    url: str
    meter: bool = False
    shows_heat: bool = False
    secret: Path | None = None
    more: str = ""

    def text(self) -> str:
        headers = 'headers = { Authorization = "Bearer {secret}" }, ' if self.secret else ""
        answer = 'answer = { pointer = "/result", word = "done" }'
        lines = [
            f'[relays.{self.name}]\nkind = "http"\ncuts = "printer"\nfeeds_board = false\nask_every_s = 5.0\necho_within_s = 3.0',
            f'order = {{ url = "{self.url}", {headers}body = "contact=open", {answer} }}',
            f'echo = {{ url = "{self.url}", {headers}pointer = "/contact", off = "open", on = "closed" }}',
        ]
        lines += [f'meter = {{ pointer = "/power/watts", shows_heat = {str(self.shows_heat).lower()} }}'] if self.meter else []
        lines += [f'secret_file = "{self.secret}"'] if self.secret else []
        return "\n".join([*lines, self.more]) + "\n"


@dataclass(frozen=True, kw_only=True)
class PrinterTable:
    name: str
    relays: tuple[PlugTable | ProgramTable | HttpTable, ...]
    heaters: tuple[HeaterTable, ...] = (HeaterTable(),)

    def text(self) -> str:
        names = ", ".join(f'"{relay.name}"' for relay in self.relays)
        return f"relays = [{names}]\n\n" + "\n".join(heater.text(self.name) for heater in self.heaters)


@dataclass(frozen=True, kw_only=True)
class SiteTable:
    """All of it. `broker` are further lines of the broker's table."""

    printers: tuple[PrinterTable, ...]
    host: str = "127.0.0.1"
    broker: str = ""
    more: str = ""
    plugs: dict[str, PlugTable] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.plugs.update({relay.name: relay for printer in self.printers for relay in printer.relays if isinstance(relay, PlugTable)})

    def write(self, config: Path, port: int) -> None:
        """The settings directory of this site."""
        relays = {relay.name: relay.text() for printer in self.printers for relay in printer.relays}
        main = f'site = "{TOPIC}"\nallow_commands = true\n\n[brokers.shed]\nhost = "{self.host}"\nport = {port}\n{self.broker}\n'
        (config / "printers").mkdir(parents=True, exist_ok=True)
        (config / "heatwarden.toml").write_text(main + "\n".join(relays.values()) + self.more)
        (config / "heatwarden.toml").chmod(0o644)
        for printer in self.printers:
            (config / "printers" / f"{printer.name}.toml").write_text(printer.text())


def simple(name: str, *, meter: bool = False, **heater: Any) -> PrinterTable:
    """A printer with one bed and one plug, NAME-plug; keywords are those of HeaterTable."""
    bed = HeaterTable(**heater)
    return PrinterTable(name=name, relays=(PlugTable(name=f"{name}-plug", meter=meter),), heaters=(bed,))
