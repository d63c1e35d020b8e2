"""Row F36 for checks of power, of several sensors and of targets: at the limit, one ulp beside it, a time met exactly."""

from collections.abc import Mapping
from math import inf, nextafter
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.feeding import events, feed
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, Tick
from watchdog.core.plan import PrinterPlan
from watchdog.thermal.arrears import Arrears

PATIENT = {
    "no_readings": {"advise_s": 3000.0, "grace_s": 3600.0},
    "stuck": {"heating_s": 3600.0, "heating_least_s": 3600.0, "steady_s": 3600.0, "cooling_s": 3600.0},
}
FACTS: Mapping[str, Any] = {"rated_w": 300.0, "width_mm": 300.0, "depth_mm": 300.0, "plate_mm": 3.0, "plate_material": "aluminium"}
METER_W = st.floats(20.0, 5000.0)


def above(value: float) -> float:
    return nextafter(value, inf)


def below(value: float) -> float:
    return nextafter(value, -inf)


def trips(
    limits: Mapping[str, Mapping[str, float]], items: list[Input], *, facts: Mapping[str, Any] | None = None
) -> list[tuple[str, float]]:
    """Checks and times of the trips of a bed with a second sensor."""
    plan = heater(limits=PATIENT | dict(limits), sensors={"glued": 2.0}, facts=facts)
    engine = Engine(site(PrinterPlan("anvil", (plan,), ("plug",))), 0.0)
    return [(event.check, event.at) for event in events(feed(engine, *items), "trip")]


def off(until: int) -> list[Input]:
    return [Reading("anvil", "bed", float(at), 22.0, 0.0) for at in range(until)]


def in_time(*items: Input) -> list[Input]:
    return sorted(items, key=lambda item: item.at)


def metered(*reports: tuple[float, float], own: bool = False) -> list[Input]:
    """A bed that is off, and what the printer's meter, or its own, says when."""
    told = [Reading("anvil", "bed" if own else "", at, power_w=watts) for at, watts in reports]
    return in_time(*off(200), *told)


@given(METER_W)
def test_what_the_printer_may_draw_is_allowed_and_one_ulp_more_is_not(limit_w: float) -> None:
    limits = {"power_while_off": {"above_w": limit_w, "rise_w": 20_000.0, "settle_s": 90.0}}
    assert trips(limits, metered((0.5, 1.0), (100.5, limit_w), (110.5, limit_w))) == []
    assert trips(limits, metered((0.5, 1.0), (100.5, above(limit_w)), (110.5, above(limit_w)))) == [("power while off", 110.5)]


@given(st.floats(0.0, 50.0), st.floats(50.0, 500.0))
def test_the_rise_above_the_least_is_allowed_and_one_ulp_more_is_not(least_w: float, rise_w: float) -> None:
    limits = {"power_while_off": {"above_w": 20_000.0, "rise_w": rise_w, "settle_s": 10.0}}
    idle = [(0.5, least_w), (20.5, least_w), (30.5, least_w)]
    assert trips(limits, metered(*idle, (40.5, least_w + rise_w), (50.5, least_w + rise_w))) == []
    more_w = above(least_w + rise_w)
    assert trips(limits, metered(*idle, (40.5, more_w), (50.5, more_w))) == [("power while off", 50.5)]


@given(METER_W)
def test_a_meter_of_the_heater_alone_has_a_limit_of_its_own(limit_w: float) -> None:
    limits = {"power_while_off": {"own_above_w": limit_w, "settle_s": 10.0}}
    assert trips(limits, metered((0.5, 0.0), (20.5, limit_w), (30.5, limit_w), own=True)) == []
    assert trips(limits, metered((0.5, 0.0), (20.5, above(limit_w)), (30.5, above(limit_w)), own=True)) == [("power while off", 30.5)]


@pytest.mark.parametrize("own", [False, True])
def test_the_first_report_that_counts_comes_exactly_when_the_meter_has_settled(*, own: bool) -> None:
    limits = {"power_while_off": {"settle_s": 50.0}}
    until, again = (50.0, 300.0), (60.0, 300.0)
    assert trips(limits, metered((0.0, 0.0), until, again, own=own)) == [("power while off", 60.0)]
    assert trips(limits, metered((0.0, 0.0), (below(50.0), 300.0), again, own=own)) == []


def test_for_five_seconds_a_target_may_come_after_its_heat() -> None:
    limits = {"power_while_off": {"settle_s": 10.0}}
    assert trips(limits, metered((0.5, 0.0), (20.0, 300.0), (25.0, 300.0))) == [("power while off", 25.0)]
    assert trips(limits, metered((0.5, 0.0), (20.0, 300.0), (below(25.0), 300.0), (26.5, 0.0))) == []


def jumps(step_k: float, count: int, *, every_s: float = 1.0, jump_k: float = 5.0) -> list[tuple[str, float]]:
    """`count` rises by `step_k` in a second, each followed by falls that heat explains."""
    limits = {"jumping": {"jump_k": jump_k, "rate_k_per_s": 3.0, "jumps": count - 0.5, "forget_s": 1e9}, "overshoot": {"band_k": 90.0}}
    items, at, low_c = list[Input](), 0.0, 60.0
    for _ in range(count):
        for celsius in (low_c, low_c + step_k, *(low_c + step_k * share for share in (0.5, 0.0))):
            items.append(Reading("anvil", "bed", at, celsius, 60.0))
            at += every_s
    return trips(limits, items)


@given(st.sampled_from([4.0, 8.0, 16.0]))
def test_a_step_that_heat_explains_is_no_jump_and_one_ulp_more_is_one(jump_k: float) -> None:
    """3 K of heat in a second; each fall is half the step, and no jump."""
    step_k = jump_k + 3.0
    assert jumps(step_k, 3, jump_k=jump_k) == []
    assert jumps(above(60.0 + step_k) - 60.0, 3, jump_k=jump_k) == [("jumping", 9.0)]


@given(st.sampled_from([4.0, 8.0, 16.0]))
def test_a_jump_is_forgotten_bit_by_bit(forget_s: float) -> None:
    """After half of `forget_s` two jumps are one and a half, which is enough here; a moment later they are less."""
    limits = {"jumping": {"jumps": 1.5, "forget_s": forget_s, "jump_k": 5.0}, "overshoot": {"band_k": 90.0}}

    def tripped(second_at: float) -> list[tuple[str, float]]:
        between = [Reading("anvil", "bed", 4.0 + 0.5 * place, 80.0, 80.0) for place in range(int(forget_s))]
        first: list[Input] = [Reading("anvil", "bed", 3.0, 60.0, 80.0)]
        return trips(limits, [*first, *between, Reading("anvil", "bed", second_at, 60.0, 80.0)])

    again_at = 4.0 + 0.5 * forget_s
    assert tripped(again_at) == [("jumping", again_at)]
    assert tripped(again_at + 1e-9) == []


def apart(
    other_c: float, *, own_c: float = 60.0, until: float = 40.0, limits: Mapping[str, float] | None = None
) -> list[tuple[str, float]]:
    """Both sensors every second, the second one at `other_c` from the start; a last word of the controller's own at `until`."""
    own = {"apart_k": 8.0, "share": 0.0, "lag_s": 5.0, "confirm_s": 30.0, **(limits or {})}
    items = [Reading("anvil", "bed", float(at), own_c, 60.0) for at in range(int(until - 1e-9) + 1)]
    others = [Reading("anvil", "bed", float(at), other_c, sensor="glued") for at in range(int(until - 1e-9) + 1)]
    return trips({"disagreement": own}, [*in_time(*items, *others), Reading("anvil", "bed", until, own_c, 60.0)])


@given(st.floats(1.0, 30.0))
def test_two_sensors_may_lie_exactly_so_far_apart_and_no_ulp_more(apart_k: float) -> None:
    limits = {"apart_k": apart_k}
    own_c = 64.0 - apart_k  # the difference is exact or nearly so; what is measured is what is compared
    allowed_k = 64.0 - own_c
    assert apart(64.0, own_c=own_c, limits={"apart_k": allowed_k}) == []
    assert apart(64.0, own_c=own_c, limits={"apart_k": below(allowed_k)}) == [("disagreement", 30.0)]
    assert apart(64.0, own_c=own_c, limits={**limits, "apart_k": allowed_k + 1.0}) == []


def test_the_share_counts_from_the_room_on() -> None:
    """25 degC and 8 K; a quarter of 40 K more at 65 degC."""
    assert apart(65.0, own_c=47.0, limits={"share": 0.25}) == []
    assert apart(65.0, own_c=below(47.0), limits={"share": 0.25}) == [("disagreement", 30.0)]
    assert apart(20.0, own_c=12.0, limits={"share": 0.25}) == []
    assert apart(20.0, own_c=below(12.0), limits={"share": 0.25}) == [("disagreement", 30.0)]


@pytest.mark.parametrize("confirm_s", [2.75, 10.0, 30.0])
def test_a_disagreement_that_lasts_exactly_so_long_has_lasted(confirm_s: float) -> None:
    limits = {"confirm_s": confirm_s}
    assert apart(80.0, until=confirm_s, limits=limits) == [("disagreement", confirm_s)]
    assert apart(80.0, until=below(confirm_s), limits=limits) == []


def test_a_colder_sensor_may_be_twice_as_far_away() -> None:
    """Once the bed has held for four time constants: 20 s."""
    assert apart(44.0, until=70.0) == []
    assert apart(below(44.0), until=70.0) == [("disagreement", 50.0)]


def targets(*told: tuple[float, float], until: float) -> list[Input]:
    """What is asked for, and when; the bed itself is at 60."""
    return [*(Reading("anvil", "bed", at, 60.0, target_c) for at, target_c in told), Tick(until)]


@given(st.floats(61.0, 130.0))
def test_a_target_at_its_limit_is_allowed_and_one_ulp_above_is_not(limit_c: float) -> None:
    limits = {"commanded_too_hot": {"above_c": limit_c, "confirm_s": 5.0}, "ceiling": {"above_c": 130.0}}
    assert trips(limits, targets((0.0, limit_c), until=20.0)) == []
    assert trips(limits, targets((0.0, above(limit_c)), until=20.0)) == [("commanded too hot", 5.0)]


@given(st.sampled_from([0.25, 1.0, 5.0, 30.0]))
def test_a_target_that_is_corrected_at_the_last_moment_does_nothing(confirm_s: float) -> None:
    limits = {"commanded_too_hot": {"confirm_s": confirm_s}}
    assert trips(limits, targets((0.0, 200.0), until=confirm_s)) == [("commanded too hot", confirm_s)]
    assert trips(limits, targets((0.0, 200.0), until=below(confirm_s))) == []
    assert trips(limits, targets((0.0, 200.0), (below(confirm_s), 60.0), until=60.0)) == []
    late = trips(limits, targets((0.0, 200.0), (confirm_s, 60.0), until=60.0))
    assert late == [("commanded too hot", confirm_s)]  # what falls due at a moment comes before what arrives at it


@given(st.floats(5.0, 60.0))
def test_a_debt_of_exactly_so_much_is_too_much_and_one_ulp_less_is_not(lag_s: float) -> None:
    """A reading that stands still at full duty, held against the same debt, reckoned beside it from the second reading on."""
    expected, arrears = heater(facts=FACTS).expected, Arrears()
    assert expected is not None
    still = [30.0] * 160
    debts = [0.0, *(arrears.add(float(at), celsius, 1.0, expected, lag_s) for at, celsius in enumerate(still) if at > 0)]
    items: list[Input] = [Reading("anvil", "bed", float(at), celsius, 60.0, 1.0) for at, celsius in enumerate(still)]
    place = 120
    assert debts[place] > debts[place - 1] > 0.0

    def tripped(behind_k: float) -> list[tuple[str, float]]:
        return trips({"no_response": {"behind_k": behind_k, "lag_s": lag_s, "within_s": 3600.0}}, items, facts=FACTS)

    assert tripped(debts[place]) == [("no response", place + 10.0)]
    assert tripped(above(debts[place])) == [("no response", place + 11.0)]


def advised(limits: Mapping[str, float], values: list[float]) -> list[float]:
    """When the facts of a bed that is off were doubted; a reading every ten seconds."""
    plan = heater(limits=PATIENT | {"facts_in_doubt": limits}, interval_s=20.0)
    engine = Engine(site(PrinterPlan("anvil", (plan,), ("plug",))), 0.0)
    items = [Reading("anvil", "bed", 10.0 * place, value, 0.0) for place, value in enumerate(values)]
    return [event.at for event in events(feed(engine, *items), "advice")]


def test_a_rest_met_exactly_is_a_rest_and_what_moves_by_the_limit_still_rests() -> None:
    """68 is no room in degrees Celsius, but one in Fahrenheit; the first reading only begins."""
    limits = {"rest_s": 200.0, "still_k": 0.5}
    assert advised(limits, [68.0] * 22) == [210.0]
    assert advised(limits, [68.0] * 21) == []
    assert advised(limits, [68.0, 68.0, *[68.5] * 20]) == [210.0]
    assert advised(limits, [68.0, 68.0, *[above(68.5)] * 20]) == []
