"""A bypass in a whole guard whose wall clock is set: it ends when its time has passed, and not by what a clock shows. Rows F41 and S27."""

from pathlib import Path

import pytest
from rig.by_hand import GuardByHand

from watchdog.guard.inbox import Question
from watchdog.wire.control import Request

DAY_US = 86_400_000_000


@pytest.mark.parametrize(
    "jump_us", [-90 * DAY_US, -3_600_000_000, 3_600_000_000, 90 * DAY_US], ids=["months back", "back", "on", "months on"]
)
def test_a_wall_clock_that_is_set_ends_no_bypass_early_and_lengthens_none(tmp_path: Path, jump_us: int) -> None:
    with GuardByHand(tmp_path) as guard:
        guard.run(5)
        begun_at = guard.at
        question = Question(Request("bypass", "anvil", "Robin", "a cable is changed", check="no readings", minutes=2))
        guard.guard.answers.answer(question)
        assert question.reply["ok"], question.reply

        def but_anvil(second: int) -> None:
            if second == 60:
                guard.wall_us += jump_us
            guard.hear(60.0 + second % 3 / 10, printers=("bramble", "cinder"))

        guard.run(110, but_anvil)
        assert guard.status()["printers"][0]["bypasses"][0]["left_s"] == 10.0
        assert guard.latched() == {}
        guard.run(20, but_anvil)
        (over,) = [row for row in guard.events() if row.kind == "bypass over"]
        (trip,) = [row for row in guard.events() if row.kind == "trip"]
        assert over.at.engine_s == trip.at.engine_s == begun_at + 120.0
        assert guard.latched() == {"anvil": "no readings"}
