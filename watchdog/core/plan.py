"""What the engine is told about a site: printers, heaters, sources and relays. Plain values, assembled from settings."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from watchdog.core.check import Check
from watchdog.core.values import INFINITY, JsonObject
from watchdog.core.view import Expected

Cuts = Literal["heater", "printer", "several"]
Fed = Literal["over MQTT", "pushed through the front", "polled"]


@dataclass(frozen=True, slots=True)
class SourcePlan:
    """One publisher of readings. `link` names the connection it shares with others (sources lost together are one event).

    `fed` says in words how readings come from it, for people.
    """

    name: str
    on_change: bool
    longest_interval_s: float
    link: str = ""
    fed: Fed | Literal[""] = ""


@dataclass(frozen=True, slots=True)
class RelayPlan:
    """One way to open a circuit: what it cuts, what evidence it can give and how soon.

    `silences` is true when opening it also takes the printer's board and its readings down. One that is not `real` cuts nothing and
    can show nothing: it is there for trying things out.
    """

    name: str
    cuts: Cuts = "printer"
    silences: bool = True
    has_echo: bool = False
    has_meter: bool = False
    standby_w: float = 2.0
    sent_within_s: float = 2.0
    echo_within_s: float = 5.0
    meter_within_s: float = 75.0
    watched: bool = True
    real: bool = True
    address: JsonObject = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CoolingPlan:
    """What a heater's temperature must do once its power is gone: the top rung of the evidence.

    Heat stored in heater and plate may lift the reading by `stored_rise_k`; within `within_s` it must have fallen
    `drop_k` below its peak. At or below `cold_c` nothing can be read from it. `time_constant_s` is the slowest own
    cooling that is plausible, used to say how long an unread heater may stay hot.
    """

    stored_rise_k: float
    drop_k: float
    within_s: float
    cold_c: float
    time_constant_s: float


@dataclass(frozen=True, slots=True)
class HeaterPlan:
    """One heater: its class, its source, fresh instances of its checks, and its own relays (before the printer's).

    `sensors` holds the longest interval, in seconds, of each further sensor; one that is not named is taken to be as
    quick as the source. `observe_s` holds, by the name of a check, for how many seconds of heating it only observes.
    """

    name: str
    kind: str
    source: SourcePlan
    checks: Callable[[], list[Check]]
    cooling: CoolingPlan
    plausible_c: tuple[float, float]
    ceiling_c: float = INFINITY
    relays: tuple[str, ...] = ()
    sensors: Mapping[str, float] = field(default_factory=dict)
    observe_s: Mapping[str, float] = field(default_factory=dict)
    expected: Expected | None = None


@dataclass(frozen=True, slots=True)
class PrinterPlan:
    """One printer: its heaters and its ordered relays. For `observe_s` seconds of heating all its checks only observe."""

    name: str
    heaters: tuple[HeaterPlan, ...]
    relays: tuple[str, ...]
    observe_s: float = 0.0


@dataclass(frozen=True, slots=True)
class SitePlan:
    """Everything one engine guards."""

    site: str
    printers: tuple[PrinterPlan, ...]
    relays: tuple[RelayPlan, ...]
