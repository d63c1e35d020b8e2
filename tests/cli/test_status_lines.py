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
    "refused_readings": 0,
    "pages": [],
    "worst_lag_s": 0.0,
}


@pytest.mark.parametrize(("lag_s", "times"), [(0.4, 0), (LATE_S, 0), (2.84, 1)])
def test_a_loop_that_was_late_is_told_from_a_second_on(lag_s: float, times: int) -> None:
    status = {"printers": [], "relays": [], "starting": False, "guard": GUARD | {"worst_lag_s": lag_s}}
    assert lines(status).count("a turn of the loop came 2.8 s late once: this computer is too busy, or was stopped") == times


def test_a_page_that_fails_and_what_was_refused_are_told() -> None:
    pages = [{"name": "board", "polls": 7, "failures": {"late": 3}, "why": "no whole answer within 3 s"}]
    pages.append({"name": "bench", "polls": 7, "failures": {"late": 3}, "why": ""})
    said = lines({"printers": [], "relays": [], "starting": False, "guard": GUARD | {"pages": pages, "refused_readings": 2}})
    assert [line for line in said if line.startswith("page ")] == ["page board: no whole answer within 3 s"]
    assert "2 pushed readings were refused, wholly or in part; who pushed them was told why" in said
