"""Feeding an engine in tests, and picking out of what it said."""

from collections.abc import Iterable

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading
from watchdog.core.outputs import Event, Output, RelayOrder


def feed(engine: Engine, *items: Input) -> list[Output]:
    """Feed it all; everything that came out."""
    return [output for item in items for output in engine.feed(item)]


def events(outputs: Iterable[Output], *wanted: str) -> list[Event]:
    """The events of these kinds."""
    return [output for output in outputs if isinstance(output, Event) and output.kind in wanted]


def orders(outputs: Iterable[Output]) -> list[str]:
    """The relays that were commanded OFF, in order."""
    return [output.relay for output in outputs if isinstance(output, RelayOrder)]


def readings(start: float, *values: float, step: float = 1.0) -> list[Input]:
    """Temperatures of the bed of anvil, one after the other."""
    return [Reading("anvil", "bed", start + place * step, value) for place, value in enumerate(values)]


def steady(temperature_c: float, start: float, count: int, step: float = 1.0, target_c: float | None = None) -> list[Input]:
    """The same temperature of the bed of anvil, again and again."""
    return [Reading("anvil", "bed", start + place * step, temperature_c, target_c) for place in range(count)]


def verdict(engine: Engine, printer: str = "anvil") -> str:
    """How far the cut of a latched printer is."""
    return engine.site.power.cuts[printer].verdict
