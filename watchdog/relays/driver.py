"""What every relay driver offers."""

from typing import Protocol


class Driver(Protocol):
    """One relay. `off` hands the command over and returns at once; what came of it arrives as a RelayReport.

    There is no `on`: nothing in the guard can close a circuit.
    """

    name: str

    def start(self) -> None:
        """Begin to watch whether the relay can be reached."""

    def off(self, order: int) -> None:
        """Send OFF, numbered `order`. Never blocks, never raises."""

    def stop(self) -> None:
        """Let go of threads and connections; the relay stays as it is."""
