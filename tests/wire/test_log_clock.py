from hypothesis import given
from hypothesis import strategies as st

from watchdog.wire.log_clock import LogClock


def times(*stamps: float) -> list[float | None]:
    clock = LogClock()
    return [clock.engine_time(stamp) for stamp in stamps]


def test_engine_time_begins_at_zero_and_follows_the_log() -> None:
    assert times(1_790_000_000.5, 1_790_000_000.5, 1_790_000_001.5, 1_790_003_601.5) == [0.0, 0.0, 1.0, 3601.0]


def test_a_row_up_to_five_seconds_back_is_late_and_dropped() -> None:
    clock = LogClock()
    assert [clock.engine_time(stamp) for stamp in (100.0, 110.0, 109.0, 105.0, 111.0)] == [0.0, 10.0, None, None, 11.0]
    assert (clock.late, clock.set_back) == (2, 0)


def test_a_clock_set_back_goes_on_by_the_usual_step() -> None:
    clock = LogClock()
    forward = [clock.engine_time(1000.0 + 2 * step) for step in range(10)]
    assert forward[-1] == 18.0
    assert [clock.engine_time(stamp) for stamp in (500.0, 500.0, 502.0)] == [20.0, 20.0, 22.0]
    assert (clock.late, clock.set_back) == (0, 1)
    assert clock.newest + clock.offset_s == 502.0


def test_one_long_gap_does_not_become_the_usual_step() -> None:
    assert times(0, 1, 2, 3, 3603, 3604, 0)[-1] == 3605.0


def test_a_clock_set_back_at_the_second_row_gains_no_time() -> None:
    assert times(1000.0, 0.0, 1.0) == [0.0, 0.0, 1.0]


@given(st.lists(st.floats(-1e10, 1e10) | st.floats(0, 100), max_size=60))
def test_engine_time_never_decreases_and_nothing_is_lost_uncounted(stamps: list[float]) -> None:
    clock = LogClock()
    found = [clock.engine_time(stamp) for stamp in stamps]
    kept = [at for at in found if at is not None]
    assert kept == sorted(kept)
    assert len(kept) + clock.late == len(stamps)


@given(st.lists(st.integers(0, 10_000), min_size=1, max_size=60))
def test_a_clock_set_back_gains_no_more_than_one_step_seen_before(stamps: list[int]) -> None:
    clock = LogClock()
    longest = 0.0
    for stamp in stamps:
        before, times_back = clock.newest, clock.set_back
        at = clock.engine_time(float(stamp))
        if at is None or before < 0:
            continue
        if clock.set_back > times_back:
            assert at - before <= longest
        longest = max(longest, at - before)
