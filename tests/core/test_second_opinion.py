"""A further sensor speaks for one that is silent: by what it shows, and only while it speaks."""

import orjson
import pytest

from watchdog.core.second_opinion import WAITS_S, SecondOpinion

EVERY_S = 2.0
COLD_C, COOLING = 40.0, 0.005


def heard(slope: float, seconds: float, start_c: float = 60.0) -> SecondOpinion:
    """What it is after so many seconds of a straight line, from 0 on."""
    opinion = SecondOpinion()
    for count in range(int(seconds / EVERY_S) + 1):
        opinion.add("glued", EVERY_S * count, start_c + slope * EVERY_S * count)
    return opinion


def vouches(opinion: SecondOpinion, now: float) -> bool:
    return opinion.vouches(now, 0.0, EVERY_S, COLD_C, COOLING)


@pytest.mark.parametrize(
    ("slope", "start_c", "seconds", "expected"),
    [
        (-0.01, 60.0, 60.0, True),
        (0.0, 60.0, 60.0, True),
        (0.0, 60.0, WAITS_S + 2.0, False),
        (-0.001, 60.0, WAITS_S + 2.0, False),
        (0.05, 60.0, 30.0, False),
        (0.05, 60.0, 10.0, True),
        (0.0, 38.0, WAITS_S + 2.0, True),
    ],
)
def test_it_must_fall_in_time_or_be_cold_and_must_not_rise(slope: float, start_c: float, seconds: float, expected: bool) -> None:  # noqa: FBT001
    assert vouches(heard(slope, seconds, start_c), seconds) is expected


def test_who_was_never_heard_vouches_for_nothing_and_who_was_seen_to_fall_is_believed() -> None:
    assert not vouches(SecondOpinion(), 10.0)
    assert not vouches(heard(0.0, 60.0), 100.0)
    fell = heard(-0.01, 60.0)
    assert vouches(fell, 60.0)
    assert vouches(fell, 5000.0)
    fell.forget()
    assert not vouches(fell, 5001.0)


def test_what_fell_once_must_be_seen_to_fall_again() -> None:
    opinion = heard(-0.01, 60.0)
    assert vouches(opinion, 60.0)
    end = 60.0
    while end < 60.0 + WAITS_S - EVERY_S:
        end += EVERY_S
        opinion.add("glued", end, 59.4)
    assert vouches(opinion, end)
    opinion.add("glued", end + EVERY_S, 59.4)
    assert not vouches(opinion, end + EVERY_S)


def test_a_wild_word_or_another_sensor_changes_nothing() -> None:
    opinion = heard(-0.01, 60.0)
    opinion.add("glued", 62.0, 999.0)
    opinion.add("another", 62.0, 20.0)
    assert opinion.sensor == "glued"
    assert vouches(opinion, 62.0)


def test_a_snapshot_goes_on() -> None:
    one = heard(-0.01, 60.0)
    assert vouches(one, 60.0)
    saved = orjson.loads(orjson.dumps(one.snapshot()))
    other = SecondOpinion()
    other.restore(saved)
    assert other.snapshot() == one.snapshot()
    assert vouches(other, 5000.0)
