"""The judging half: plants and seeds by which nothing was tuned. One seed of each family; with --long all forty.

All forty are 3,732 healthy printer-hours and 1,651 faults: docs/evidence. `tests/held_out.py` runs any others.
"""

from collections.abc import Callable

import pytest
from held_out import judge

from watchdog.simulation.families import FAMILIES

FIRST_SEED, SEEDS = 15_000, 40


@pytest.mark.parametrize("family", FAMILIES)
def test_no_healthy_heater_is_cut_and_every_fault_in_time(family: str, long_count: Callable[[int, int], int]) -> None:
    """A fault that is found too late counts only where `check` calls its source too slow to protect such a heater."""
    results = [judge((family, seed)) for seed in range(FIRST_SEED, FIRST_SEED + long_count(1, SEEDS))]
    wrong = [result for result in results if result.verdict not in {"quiet", "caught", "either"} and "TOLD SO BEFORE" not in result.verdict]
    assert wrong == []
