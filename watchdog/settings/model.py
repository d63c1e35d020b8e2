"""What may stand in the settings files: one frozen dataclass a table. Units are part of the names.

Lengths in millimetres, masses in grams, power in watts, times in seconds, temperatures in degrees Celsius,
differences in kelvin. Where several tables together must make sense, see the modules named `rules_*`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from watchdog.core.values import STRICT
from watchdog.settings.addresses import Broker, Page
from watchdog.settings.feeds import Meter, Readings, Voice
from watchdog.settings.relay_tables import RelayTable

MAIN_FILE = "heatwarden.toml"
PRINTERS = "printers"

HeaterKind = Literal["bed", "hotend", "chamber"]
Supply = Literal["mains", "12 V DC", "24 V DC", "48 V DC", "dedicated DC supply"]
Switch = Literal["printer board", "MOSFET module", "solid-state relay", "mechanical relay"]
PlateMaterial = Literal["aluminium", "steel", "copper", "glass", "circuit board"]
FaceMaterial = Literal["none", "spring steel", "glass", "ceramic", "polymer sheet", "glass-fibre laminate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where the guard keeps what must survive: latches, records, the last validated settings."""

    __pydantic_config__ = STRICT

    directory: str = "/var/lib/heatwarden"


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """Where the front process listens, and by which further names it may be called; with both files it speaks TLS."""

    __pydantic_config__ = STRICT

    listen: str = "127.0.0.1"
    port: int = 8463
    hosts: tuple[str, ...] = ()
    certificate_file: str = ""
    key_file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MainFile:
    """heatwarden.toml."""

    __pydantic_config__ = STRICT

    site: str
    allow_commands: bool = False
    state: State = State()
    brokers: dict[str, Broker] = field(default_factory=dict)
    pages: dict[str, Page] = field(default_factory=dict)
    relays: dict[str, RelayTable] = field(default_factory=dict)
    front: Front = Front()


@dataclass(frozen=True, slots=True, kw_only=True)
class Observe:
    """For how many hours of heating the whole printer only observes: its checks tell what they would have cut."""

    __pydantic_config__ = STRICT

    heating_hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """Limits from `hours` of recordings, of a heater with this fingerprint; `heatwarden learn` writes them out."""

    __pydantic_config__ = STRICT

    fingerprint: str
    hours: float
    limits: dict[str, dict[str, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """One heater: its facts, where its readings come from, its own relays, and limits that override the defaults.

    `observe` holds heating hours by the key of a check: for so long that check only observes.
    """

    __pydantic_config__ = STRICT

    kind: HeaterKind
    readings: Readings
    sensors: dict[str, Readings] = field(default_factory=dict)
    relays: tuple[str, ...] = ()
    normal_max_c: float | None = None
    harm_c: float | None = None
    rated_w: float | None = None
    supply: Supply | None = None
    switch: Switch | None = None
    width_mm: float | None = None
    depth_mm: float | None = None
    plate_mm: float | None = None
    plate_material: PlateMaterial | None = None
    face_mm: float | None = None
    face_material: FaceMaterial | None = None
    block_g: float | None = None
    limits: dict[str, dict[str, float]] = field(default_factory=dict)
    observe: dict[str, float] = field(default_factory=dict)
    learnt: Learnt | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterFile:
    """printers/NAME.toml."""

    __pydantic_config__ = STRICT

    relays: tuple[str, ...] = ()
    heaters: dict[str, Heater]
    meter: Meter | None = None
    observe: Observe | None = None

    def relays_by_owner(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Every list of relays: whose it is ("" is the whole printer's, else a heater's name), and what is in it."""
        yield "", self.relays
        for name, heater in self.heaters.items():
            yield name, heater.relays


@dataclass(frozen=True, slots=True)
class Settings:
    """All that was read and found good. Printers by name, in alphabetical order."""

    main: MainFile
    printers: dict[str, PrinterFile]

    def voices(self) -> Iterator[tuple[Voice, Readings | Meter]]:
        """All from whom readings come, and how: heaters, their further sensors, meters."""
        for printer, table in self.printers.items():
            for name, heater in table.heaters.items():
                for sensor, readings in {"": heater.readings, **heater.sensors}.items():
                    yield (printer, name, sensor), readings
            if table.meter:
                yield (printer, "", ""), table.meter
