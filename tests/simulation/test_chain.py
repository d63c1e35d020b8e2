"""The plant against worked examples and closed solutions from outside of the project; each has its source beside it."""

from math import exp, log
from random import Random

import pytest

from watchdog.simulation import bodies
from watchdog.simulation.chain import STEFAN_BOLTZMANN, Chain, Loss
from watchdog.simulation.facts import HeaterFacts, TrueHeater

STEP_S = 0.25


def lump(capacity: float, loss: Loss, start_c: float) -> Chain:
    return Chain([capacity], [], [loss], start_c)


def run(chain: Chain, seconds: float, watts: float, air_c: float = 25.0, step_s: float = STEP_S) -> float:
    for _ in range(round(seconds / step_s)):
        chain.step(step_s, watts, air_c)
    return chain.celsius[0]


def seconds_to(chain: Chain, watts: float, air_c: float, celsius: float, step_s: float = STEP_S) -> float:
    """When it passes `celsius`, interpolated within the step."""
    elapsed_s = 0.0
    while True:
        before_c = chain.celsius[0]
        chain.step(step_s, watts, air_c)
        if (before_c - celsius) * (chain.celsius[0] - celsius) <= 0.0:
            return elapsed_s + step_s * (celsius - before_c) / (chain.celsius[0] - before_c)
        elapsed_s += step_s


@pytest.mark.parametrize(("at_s", "expected_c"), [(60, 36.533), (300, 74.452), (750, 119.818), (1500, 154.700)])
def test_a_lump_with_a_linear_loss_follows_its_closed_solution(at_s: float, expected_c: float) -> None:
    # P 300 W, UA 2 W/K, C 1500 J/K, air 25: T = 25 + 150 (1 - exp(-t / 750)), textbook lumped capacitance
    assert run(lump(1500.0, Loss(2.0), 25.0), at_s, 300.0) == pytest.approx(expected_c, abs=1e-3)


@pytest.mark.parametrize(
    ("from_c", "to_c", "watts", "expected_s"),
    [(25.0, 100.0, 300.0, 519.86), (120.0, 150.0, 300.0, 591.34), (110.0, 50.0, 0.0, 917.83), (110.0, 43.0, 0.0, 1164.2)],
)
def test_times_between_two_temperatures_are_those_of_the_closed_solution(
    from_c: float, to_c: float, watts: float, expected_s: float
) -> None:
    # t = -tau ln((Tss - T2) / (Tss - T1)), the same lump
    assert seconds_to(lump(1500.0, Loss(2.0), from_c), watts, 25.0, to_c) == pytest.approx(expected_s, rel=1e-4)


@pytest.mark.parametrize(
    ("watts", "per_s", "to_100_s"), [(200, 0.15310, 489.89), (300, 0.22964, 326.59), (500, 0.38274, 195.96), (750, 0.57411, 130.64)]
)
def test_an_adiabatic_plate_heats_at_power_over_heat_capacity(watts: float, per_s: float, to_100_s: float) -> None:
    # aluminium 6061, 300 x 300 x 6 mm: 1306.37 J/K
    plate = lump(1306.37, Loss(), 25.0)
    assert run(plate, 100.0, watts) - 25.0 == pytest.approx(100.0 * per_s, rel=1e-4)
    assert seconds_to(lump(1306.37, Loss(), 25.0), watts, 25.0, 100.0) == pytest.approx(to_100_s, rel=1e-4)


def test_a_hot_plate_cools_as_in_the_textbook_problem() -> None:
    # Incropera problem 1.73: 0.3 x 0.3 m, both faces, 3.75 kg, cp 2770, emissivity 0.42, h 6.4, 498 K in 298 K:
    # convection 230 W, radiation 230 W, -0.044 K/s
    area = 0.18
    plate = lump(3.75 * 2770.0, Loss(0.0, 6.4 * area, 0.0, 0.42 * STEFAN_BOLTZMANN * area), 498.0 - 273.15)
    plate.step(0.1, 0.0, 298.0 - 273.15)
    assert (plate.celsius[0] - (498.0 - 273.15)) / 0.1 == pytest.approx(-0.0443, rel=0.01)
    assert plate.lost_w == pytest.approx(460.0, rel=0.01)


def test_convection_that_weakens_as_it_cools_follows_the_closed_solution() -> None:
    # Bejan, Heat Transfer Handbook, 3.286: 80 K over the air, n 0.25, h A / C = 1/600 1/s at first: 32.768 K after 600 s
    chain = lump(600.0, Loss(0.0, 80.0**-0.25, 0.25), 105.0)
    assert run(chain, 600.0, 0.0) - 25.0 == pytest.approx(32.768, abs=0.01)


def test_heat_stored_in_the_mat_lifts_the_plate_after_the_cut() -> None:
    # energy: a mat of 210.6 J/K, 60 K hotter than a plate of 1306.4 J/K, lifts it by 8.330 K
    chain = Chain([210.6, 1306.4], [30.0], [Loss(), Loss()], 60.0)
    chain.celsius[0] = 120.0
    run(chain, 300.0, 0.0)
    assert chain.celsius[1] - 60.0 == pytest.approx(8.330, rel=1e-3)


STUCK_ON = [
    # square side mm, W, bare both sides (McAdams, VDI, Rohsenow), underside adiabatic (the same); emissivity 0.9, air 25
    (220, 120, (110.3, 108.1, 115.1), (154.0, 146.8, 162.7)),
    (235, 220, (146.5, 143.2, 152.2), (204.7, 195.1, 214.0)),
    (300, 200, (105.5, 102.4, 109.3), (147.4, 137.4, 152.6)),
    (300, 300, (133.8, 129.8, 138.4), (187.4, 175.4, 193.3)),
    (300, 500, (180.3, 175.2, 185.6), (250.6, 237.0, 257.2)),
    (300, 750, (226.4, 220.9, 232.3), (311.2, 297.5, 318.2)),
    (350, 1000, (225.4, 219.0, 230.5), (309.9, 294.2, 314.9)),
    (400, 1500, (244.3, 237.1, 248.9), (334.2, 317.0, 337.6)),
]


def plate_losing(side_mm: float, emissivity: float, *, underside: bool) -> Chain:
    area, length_m = (side_mm / 1000.0) ** 2, side_mm / 4000.0
    below = bodies.surface(area, length_m, 1.0, emissivity, up=False) if underside else Loss()
    return Chain([200.0, 1300.0], [1e6], [below, bodies.surface(area, length_m, 1.0, emissivity, up=True)], 25.0)


@pytest.mark.parametrize(("side_mm", "watts", "bare", "adiabatic"), STUCK_ON)
def test_a_bed_that_is_stuck_on_settles_where_three_correlations_say(
    side_mm: float, watts: float, bare: tuple[float, float, float], adiabatic: tuple[float, float, float]
) -> None:
    # natural convection after McAdams, VDI and Rohsenow as in the library ht 1.2.0, which differ by 25 % in the coefficient
    for underside, references in ((True, bare), (False, adiabatic)):
        settled_c = bodies.steady_c(plate_losing(side_mm, 0.9, underside=underside), watts, 25.0)[1]
        for reference_c in references:
            assert settled_c - 25.0 == pytest.approx(reference_c - 25.0, rel=0.25)
        assert settled_c - 25.0 == pytest.approx(references[0] - 25.0, rel=0.02), "McAdams is what it is built from"


def test_bare_metal_gets_far_hotter_than_a_coated_plate() -> None:
    # same source: 300 x 300 mm, 300 W, both faces, emissivity 0.09: 226.2 instead of 133.8
    settled_c = bodies.steady_c(plate_losing(300.0, 0.09, underside=True), 300.0, 25.0)[1]
    assert settled_c - 25.0 == pytest.approx(226.2 - 25.0, rel=0.04)


def test_a_plate_with_losses_heats_up_in_the_reference_time() -> None:
    # same source, integrated: 25 to 100 in 480.2 s at 300 W, both faces bare
    area = 0.09
    chain = Chain([0.5, 1305.87], [1e4], [bodies.surface(area, 0.075, 1.0, 0.9, up=up) for up in (False, True)], 25.0)
    assert seconds_to(chain, 300.0, 25.0, 100.0, 0.01) == pytest.approx(480.2, rel=0.02)


def test_the_lumps_of_a_bed_hold_the_heat_of_its_parts() -> None:
    # 6061 plate 300 x 300 x 6: 1306.37 J/K; silicone 1.5 mm: 210.6 J/K; borosilicate 4 mm: 666.3 J/K
    facts = HeaterFacts(
        kind="bed", rated_w=300.0, normal_max_c=100.0, harm_c=130.0, width_mm=300.0, depth_mm=300.0,
        plate_mm=6.0, plate_material="aluminium", face_mm=4.0, face_material="glass",
    )  # fmt: skip
    chain = bodies.bed(facts, TrueHeater(), 20.0)
    assert chain.capacity == pytest.approx([210.6, 1306.37, 666.3], rel=1e-4)


def test_a_face_clamped_on_a_mat_needs_no_plate() -> None:
    facts = HeaterFacts(
        kind="bed",
        rated_w=300.0,
        normal_max_c=100.0,
        harm_c=130.0,
        width_mm=300.0,
        depth_mm=300.0,
        face_mm=0.8,
        face_material="spring steel",
    )
    # 0.8 mm of spring steel (7850, 490): 276.95 J/K, within what handbooks differ
    assert bodies.bed(facts, TrueHeater(), 20.0).capacity[1] == pytest.approx(276.95, rel=0.03)


def test_the_energy_balance_closes_whatever_happens(dice: Random) -> None:
    facts = HeaterFacts(
        kind="bed", rated_w=400.0, normal_max_c=100.0, harm_c=130.0, width_mm=300.0, depth_mm=250.0, plate_mm=4.0, face_mm=3.0,
        face_material="glass",
    )  # fmt: skip
    chain = bodies.bed(facts, TrueHeater(), 20.0)
    began_j = chain.stored_j()
    air_c = 20.0
    for number in range(4000):
        if number == 1000:
            chain.add(300.0, 12.0, Loss(0.0, 0.3), 18.0)
        if number == 3000:
            chain.remove()
        air_c += dice.uniform(-0.2, 0.2)
        chain.step(dice.choice((0.05, 0.25, 1.0)), dice.uniform(0.0, 400.0), air_c, dice.uniform(1.0, 4.0))
    assert chain.given_j - chain.lost_j == pytest.approx(chain.stored_j() - began_j, rel=1e-9, abs=1e-3)


def test_long_steps_stay_stable_and_agree_with_short_ones() -> None:
    facts = HeaterFacts(kind="hotend", rated_w=50.0, normal_max_c=275.0, harm_c=320.0, block_g=15.0)
    short, long = bodies.hotend(facts, TrueHeater(), 22.0), bodies.hotend(facts, TrueHeater(), 22.0)
    run(short, 120.0, 40.0, 22.0, 0.01)
    run(long, 120.0, 40.0, 22.0, 0.25)
    assert long.celsius == pytest.approx(short.celsius, abs=0.05)


def test_two_lumps_even_out_with_their_own_time_constant() -> None:
    # difference decays with 1/tau = G (1/C1 + 1/C2)
    chain = Chain([100.0, 300.0], [5.0], [Loss(), Loss()], 20.0)
    chain.celsius[0] = 80.0
    run(chain, 15.0, 0.0, 20.0, 0.05)
    assert chain.celsius[0] - chain.celsius[1] == pytest.approx(60.0 * exp(-15.0 * 5.0 * (1 / 100.0 + 1 / 300.0)), rel=1e-3)


def test_half_of_the_excess_is_gone_after_the_half_life() -> None:
    assert run(lump(1500.0, Loss(2.0), 125.0), 750.0 * log(2.0), 0.0) - 25.0 == pytest.approx(50.0, abs=0.02)


@pytest.mark.parametrize(("capacity", "link"), [([0.0], []), ([1.0, 1.0], []), ([1.0, 1.0], [-1.0])])
def test_lumps_that_make_no_sense_are_refused(capacity: list[float], link: list[float]) -> None:
    with pytest.raises(ValueError, match="one link fewer than lumps"):
        Chain(capacity, link, [Loss()] * len(capacity), 20.0)
