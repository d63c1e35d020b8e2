"""Cells of a log: text to number, strictly and fast."""

from collections.abc import Callable
from typing import Final

from watchdog.core.values import INFINITY
from watchdog.wire.numbers import ABSURD_POWER_W, ABSURD_TEMPERATURE, FULLEST_DUTY, SCALES, decimal

BOUNDS: Final[dict[str, tuple[float, float]]] = {
    "temperature_c": (SCALES["celsius"].coldest, ABSURD_TEMPERATURE),
    "target_c": (-ABSURD_TEMPERATURE, ABSURD_TEMPERATURE),
    "duty": (0.0, FULLEST_DUTY),
    "power_w": (-ABSURD_POWER_W, ABSURD_POWER_W),
}
"""The value columns, and what may stand in them."""

MOST_KEPT: Final = 50_000
LONGEST_KEPT: Final = 7
"""Characters. Values of so many digits that they hardly repeat are not worth keeping."""


class Cells(dict[str, float | None]):
    """One value column: maps the text of a cell to its value, None for an empty or an unreadable one.

    Readings repeat, so that looking a text up is faster than parsing it again and allows a strict parser. Unreadable
    texts are not kept: each goes to `unreadable(column, text)`.
    """

    def __init__(self, column: str, unreadable: Callable[[str, object], None]) -> None:
        super().__init__({"": None})
        self.column = column
        self._unreadable = unreadable
        self._low, self._high = BOUNDS[column]
        self._floor = 0.0 if column == "target_c" else -INFINITY

    def __missing__(self, text: str) -> float | None:
        value = self.judge(decimal(text), text)
        if value is not None and len(text) <= LONGEST_KEPT:
            if len(self) >= MOST_KEPT:
                self.clear()
                self[""] = None
            self[text] = value
        return value

    def judge(self, value: float | None, shown: object) -> float | None:
        """`value` if it lies within the bounds of the column; a target below 0 is off. Anything else is reported."""
        if value is None or not self._low <= value <= self._high:
            self._unreadable(self.column, shown)
            return None
        return max(float(value), self._floor)
