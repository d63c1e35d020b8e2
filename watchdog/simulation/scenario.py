"""A scenario: a printer, what it is to do, what happens to it, and what is told of it."""

from dataclasses import dataclass, field

from watchdog.simulation.events import Event
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.parts import HeaterSetup, Room, Telemetry


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """All of it but the seed. `setup` is by heater; one that is not named stands idle with the usual sensor.

    `relay_cuts` is what the relay upstream opens: one heater by name, or, when empty, the whole printer with its board.
    `clock_back` is (at_s, by_s): an exported log's clock is set back so far at that time; live readings know nothing of it.
    """

    printer: PrinterFacts
    setup: dict[str, HeaterSetup] = field(default_factory=dict)
    events: tuple[Event, ...] = ()
    room: Room = field(default_factory=Room)
    telemetry: Telemetry = field(default_factory=Telemetry)
    relay_cuts: str = ""
    clock_back: tuple[float, float] | None = None
