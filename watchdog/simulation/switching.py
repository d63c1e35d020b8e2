"""The printer's own switch of a heater, and how it fails."""

from typing import Literal

SwitchMode = Literal["healthy", "closed", "half closed", "leaking", "open"]

HALF = 0.5
"""One half wave: half of the power."""


class Switch:
    """Turns a duty into a share of full power."""

    __slots__ = ("leak", "mode")

    def __init__(self) -> None:
        self.mode: SwitchMode = "healthy"
        self.leak = 0.05

    def fail(self, mode: SwitchMode, leak: float = 0.05) -> None:
        """From now on: `leak` is the share of full power that a leaking switch lets through when off. Raises ValueError."""
        if not 0.0 <= leak <= 1.0:
            raise ValueError(f"a switch that leaks {leak} of full power, allowed is 0 to 1")
        self.mode, self.leak = mode, leak

    def share(self, duty: float) -> float:
        """The share of full power that gets through, 0 to 1."""
        mode = self.mode
        if mode == "healthy":
            return duty
        if mode == "closed":
            return 1.0
        if mode == "open":
            return 0.0
        least = HALF if mode == "half closed" else self.leak
        return least + (1.0 - least) * duty
