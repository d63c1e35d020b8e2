"""What `status` tells a person of the guard itself."""

from typing import Any

import pytest

from watchdog.cli.status import LATE_S, lines

GUARD: dict[str, Any] = {
    "notices": [],
    "warnings": [],
    "record": {"ok": True, "notices": [], "lost": 0},
    "latch_file": "",
    "remainders_file": "",
    "dropped_readings": 0,
    "worst_lag_s": 0.0,
}


@pytest.mark.parametrize(("lag_s", "times"), [(0.4, 0), (LATE_S, 0), (2.84, 1)])
def test_a_loop_that_was_late_is_told_from_a_second_on(lag_s: float, times: int) -> None:
    status = {"printers": [], "relays": [], "starting": False, "guard": GUARD | {"worst_lag_s": lag_s}}
    assert lines(status).count("a turn of the loop came 2.8 s late once: this computer is too busy, or was stopped") == times
