"""What counts as a number, and the bounds beyond which a number is no reading."""

from math import isfinite
from typing import Final, NamedTuple

from watchdog.wire.feed import Unit

ABSURD_TEMPERATURE: Final = 3000.0
"""In whatever unit: nothing a printer can heat is this hot."""

FULLEST_DUTY: Final = 1.05
"""Rounding at the source may exceed full power by a little."""

ABSURD_POWER_W: Final = 1_000_000.0

LONGEST_NUMBER: Final = 40
"""Characters. No measured value needs more."""


class Scale(NamedTuple):
    """A temperature unit: Celsius is `(value - zero) / size`. `coldest` is absolute zero in the unit."""

    zero: float
    size: float
    coldest: float


SCALES: Final[dict[Unit, Scale]] = {
    "celsius": Scale(0.0, 1.0, -273.15),
    "kelvin": Scale(273.15, 1.0, 0.0),
    "fahrenheit": Scale(32.0, 1.8, -459.67),
}


def decimal(text: str) -> float | None:
    """The finite number that `text` spells in plain ASCII decimal notation, else None.

    Refused although Python's own float() takes them: spaces, underscores, other scripts' digits, nan and infinity.
    """
    if len(text) > LONGEST_NUMBER or not text.isascii() or "_" in text or text != text.strip():
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if isfinite(value) else None
