"""A quantity over temperature that is asked for with each reading: computed where it is needed, and then kept."""

from collections.abc import Callable
from math import floor

GRID_K = 5.0
"""Straight lines between points so far apart, in kelvin; loss curves bend by less than 1 % between them."""


LOWEST_C, HIGHEST_C = -40.0, 640.0
"""Beyond these a reading is no temperature of a heater; the value at the end stands for it."""


class Curve:
    """`of` at any temperature in degrees Celsius, by straight lines between points of a grid."""

    __slots__ = ("_kept", "_of")

    def __init__(self, of: Callable[[float], float]) -> None:
        self._of = of
        self._kept: dict[int, tuple[float, float]] = {}

    def at(self, celsius: float) -> float:
        """The value at `celsius`."""
        place = (celsius if LOWEST_C <= celsius <= HIGHEST_C else LOWEST_C if celsius < LOWEST_C else HIGHEST_C) / GRID_K
        index = floor(place)
        line = self._kept.get(index)
        if line is None:
            low = self._of(GRID_K * index)
            line = self._kept[index] = (low, self._of(GRID_K * (index + 1)) - low)
        return line[0] + (place - index) * line[1]
