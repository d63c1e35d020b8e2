"""A held target that is lost: how much something cold can take, by the heat that two bodies share."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.core.values import NEVER
from watchdog.thermal.bed import bed
from watchdog.thermal.facts import Facts
from watchdog.thermal.hold import COLD_C, COLD_K, Hold


def held(target_c: float, temperatures: list[float]) -> Hold:
    hold = Hold()
    for at, temperature_c in enumerate(temperatures):
        hold.follow(float(at), target_c, temperature_c, None)
    return hold


def lost(held_duty: float, duty: float | None, lowest_c: float = 160.0, newest_c: float = 160.0) -> float:
    """What is allowed of a hotend at 250 degC, by a draft alone, 300 s after it was last held: without a limit it would be 300 K."""
    hold = Hold()
    for at in range(200):
        hold.follow(float(at), 250.0, 250.0, held_duty)
    for at in range(200, 499):
        hold.follow(float(at), 250.0, lowest_c, duty)
    hold.follow(499.0, 250.0, newest_c, duty)
    return hold.allowed_k(499.0, 0.0, 1.0) - COLD_K


def test_only_a_target_that_was_reached_is_held() -> None:
    assert held(60.0, [20.0, 40.0, 57.9]).held_at == NEVER
    assert held(60.0, [20.0, 40.0, 58.0, 50.0]).held_at == 2.0


def test_another_target_has_to_be_reached_first() -> None:
    hold = held(60.0, [60.0, 60.0])
    hold.follow(2.0, 90.0, 60.0, None)
    assert hold.held_at == NEVER


def test_what_is_allowed_grows_with_the_excess_and_with_the_time_of_a_draft() -> None:
    hold = held(105.0, [105.0])
    assert hold.allowed_k(0.0, 0.5, 0.1) == COLD_K + 0.5 * (105.0 - COLD_C)
    assert hold.allowed_k(60.0, 0.5, 0.1) == pytest.approx(COLD_K + 0.5 * (105.0 - COLD_C) + 6.0)


def test_what_a_draft_takes_is_in_balance_with_what_is_given() -> None:
    """At twice the duty that held 225 K over the room, three times the loss (Newton's law of cooling) leave two thirds of that."""
    assert lost(0.3, 0.6) == pytest.approx(225.0 / 3.0, rel=0.01)
    assert lost(0.3, 1.0) == pytest.approx(60.0)  # never less than what a draft takes in a minute
    assert lost(0.3, 0.3) == pytest.approx(150.0, rel=0.01)


def test_where_no_duty_tells_or_it_comes_back_a_draft_has_no_end() -> None:
    assert lost(0.3, None) == 300.0
    assert lost(0.3, 1.0, newest_c=162.0) == 300.0
    assert lost(0.0, 1.0) == 300.0


@given(st.floats(2.0, 10.0), st.floats(40.0, 120.0))
def test_cold_glass_on_a_plate_takes_no_more_than_the_first_law_allows(plate_mm: float, hot_c: float) -> None:
    """Two bodies at 25 and `hot_c` that share their heat, and lose none (Incropera, 1.3: what one gains the other loses).

    Handbook: aluminium 2700 kg/m3 and 900 J/(kg K), borosilicate glass 2230 and 830 (DIN ISO 3585).
    """
    facts = Facts(
        kind="bed",
        rated_w=300.0,
        normal_max_c=110.0,
        harm_c=150.0,
        width_mm=300.0,
        depth_mm=300.0,
        plate_mm=plate_mm,
        plate_material="aluminium",
    )
    body = bed(facts)
    assert body is not None
    plate, glass = 2700.0 * 900.0 * plate_mm / 1000.0, 2230.0 * 830.0 * 0.004
    falls_k = (hot_c - 25.0) * glass / (glass + plate)
    hold = held(hot_c, [hot_c])
    assert falls_k <= hold.allowed_k(0.0, body.cold_share, 0.0)
