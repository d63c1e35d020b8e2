"""Where sources and relays put what they hear. Never blocks, never raises."""

from typing import Protocol

from watchdog.core.inputs import Reading, RelayReport, SourceReport, Unusable


class Sink(Protocol):
    """Takes inputs from any thread; the guard's one loop picks them up."""

    def reading(self, reading: Reading | Unusable) -> None:
        """Bounded per heater: a flood of one starves no other."""

    def report(self, report: RelayReport | SourceReport) -> None:
        """Never dropped."""
