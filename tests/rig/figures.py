"""Measured figures of the fault rows, gathered over a run and shown at its end."""

from typing import Final

FOUND: Final[dict[str, list[float]]] = {}


def figure(row: str, *values: float) -> None:
    """Note measurements in seconds (or in the unit that `row` names) under a row's name."""
    FOUND.setdefault(row, []).extend(values)


def lines() -> list[str]:
    """One line a row: count, least, median, p99, most."""
    out = []
    for row in sorted(FOUND):
        values = sorted(FOUND[row])
        count = len(values)
        p99 = values[min(count - 1, int(0.99 * count))]
        out.append(f"{row:60} n={count:<4} min {values[0]:.3f}  median {values[count // 2]:.3f}  p99 {p99:.3f}  max {values[-1]:.3f}")
    return out
