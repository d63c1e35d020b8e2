"""A quantity over temperature that is asked for with each reading: computed where it is needed, and then kept."""

from collections.abc import Callable

GRID_K = 5.0
"""Straight lines between points so far apart, in kelvin; loss curves bend by less than 1 % between them."""

LOWEST_C, HIGHEST_C = -40.0, 640.0
"""Beyond these a reading is no temperature of a heater; the value at the end stands for it."""

LINES = round((HIGHEST_C - LOWEST_C) / GRID_K) + 1


class Curve:
    """`of` at any temperature in degrees Celsius, by straight lines between points of a grid."""

    __slots__ = ("_lines", "_of")

    def __init__(self, of: Callable[[float], float]) -> None:
        self._of = of
        self._lines: list[tuple[float, float] | None] = [None] * LINES

    def at(self, celsius: float) -> float:
        """The value at `celsius`."""
        if not LOWEST_C <= celsius <= HIGHEST_C:
            celsius = LOWEST_C if celsius < LOWEST_C else HIGHEST_C
        place = (celsius - LOWEST_C) / GRID_K
        index = int(place)
        line = self._lines[index]
        if line is None:
            low_c = LOWEST_C + GRID_K * index
            low = self._of(low_c)
            line = self._lines[index] = (low, self._of(low_c + GRID_K) - low)
        return line[0] + (place - index) * line[1]
