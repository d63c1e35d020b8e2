"""The plant of the simulation, with heaters drawn from chance, stays within what physics expect of it from its told facts alone."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from math import isinf
from random import Random

import pytest

from watchdog.simulation import bodies
from watchdog.simulation.chain import Chain
from watchdog.simulation.chance import dice
from watchdog.simulation.draw import chain_of, printer
from watchdog.simulation.facts import HeaterFacts, TrueHeater
from watchdog.thermal.arrears import Arrears
from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts
from watchdog.thermal.heater_classes import CLASSES

PRINTERS = 200
STEP_S, NODE = 0.25, 1
"""The sensor sits on the second lump: plate or block."""


@dataclass(frozen=True)
class Pair:
    """A heater as it truly is, and what is expected of it."""

    seed: int
    told: HeaterFacts
    true: TrueHeater
    room_c: float
    expected: Expectations

    @property
    def full_w(self) -> float:
        return self.told.rated_w * self.true.power_factor

    @property
    def lag_s(self) -> float:
        return CLASSES[self.told.kind].limits["no response"]["lag_s"]

    def chain(self) -> Chain:
        return chain_of(self.told, self.true, self.room_c)

    def settles_c(self) -> float:
        return bodies.steady_c(self.chain(), self.full_w, self.room_c, 1.0, self.true.power_per_k)[NODE]

    def heats_up(self, chain: Chain, to_c: float) -> Iterator[tuple[float, float, float]]:
        """Time, temperature before and after each step at full power."""
        at_s = 0.0
        while chain.celsius[NODE] < to_c:
            before_c = chain.celsius[NODE]
            chain.step(STEP_S, self.full_w / (1.0 + self.true.power_per_k * (chain.celsius[0] - 25.0)), self.room_c)
            at_s += STEP_S
            yield at_s, before_c, chain.celsius[NODE]

    def __str__(self) -> str:
        return f"printer {self.seed}, {self.told.kind}, room of {self.room_c:.0f} degC, {self.told.told()}"


def pairs(chance: Random, count: int, room_c: tuple[float, float]) -> Iterator[Pair]:
    """Bed and hotend of `count` of the 200 printers: strong and weak ones, some that are very hot."""
    for seed in sorted(chance.sample(range(PRINTERS), count)):
        stream = dice(seed, "within bounds")
        drawn = printer(stream, strong=seed % 2 == 0, very_hot=seed % 5 == 0)
        for name, told in drawn.heaters.items():
            known = Facts(**{field.name: getattr(told, field.name) for field in fields(Facts)})
            expected = expectations(known)
            assert expected is not None
            yield Pair(seed, told, drawn.true[name], stream.uniform(*room_c), expected)


@pytest.mark.parametrize("room_c", [(15.0, 30.0), (-8.0, 2.0)], ids=["room", "winter garage"])
def test_heating_up_is_no_faster_and_no_slower_than_physics_allow(
    room_c: tuple[float, float], dice: Random, long_count: Callable[[int, int], int]
) -> None:
    for pair in pairs(dice, long_count(15, PRINTERS), room_c):
        expected, chain = pair.expected, pair.chain()
        to_c = min(pair.told.normal_max_c, pair.settles_c() - 5.0)
        if to_c < pair.room_c + 10.0:
            continue
        arrears, ahead_k, took_s = Arrears(), 0.0, 0.0
        for took_s, before_c, now_c in pair.heats_up(chain, to_c):
            ahead_k = max(0.0, ahead_k + now_c - before_c - STEP_S * expected.fastest_rise_k_per_s(before_c))
            assert ahead_k < 0.01, f"faster than the fastest by {ahead_k} K: {pair}"
            if took_s % 1.0 == 0.0:
                behind_k = arrears.add(took_s, now_c, 1.0, expected, pair.lag_s)
                assert behind_k < 0.01, f"behind the slowest by {behind_k} K after {took_s} s: {pair}"
        bounds = expected.heating_time_s(pair.room_c, to_c)
        assert bounds.least <= took_s, f"{took_s} s, at least {bounds.least} s: {pair}"
        assert took_s <= bounds.most + pair.lag_s, f"{took_s} s, at most {bounds.most} s: {pair}"


@pytest.mark.parametrize("room_c", [(15.0, 30.0), (-8.0, 2.0)], ids=["room", "winter garage"])
def test_without_power_it_cools_as_physics_allow(room_c: tuple[float, float], dice: Random, long_count: Callable[[int, int], int]) -> None:
    for pair in pairs(dice, long_count(15, PRINTERS), room_c):
        expected, chain = pair.expected, pair.chain()
        to_c = min(pair.told.normal_max_c, pair.settles_c() - 5.0)
        if to_c < pair.room_c + 10.0:
            continue
        for _ in pair.heats_up(chain, to_c):
            pass
        off_c = top_c = chain.celsius[NODE]
        over_k = under_k = 0.0
        for number in range(round(2400.0 / STEP_S)):
            before_c = chain.celsius[NODE]
            chain.step(STEP_S, 0.0, pair.room_c)
            fell_k = before_c - chain.celsius[NODE]
            top_c = max(top_c, chain.celsius[NODE])
            if number * STEP_S < pair.lag_s:
                continue
            over_k = max(0.0, over_k + fell_k - STEP_S * expected.fastest_fall_k_per_s(before_c)) if pair.room_c > 15.0 else 0.0
            under_k = max(0.0, under_k + STEP_S * expected.slowest_fall_k_per_s(before_c) - fell_k)
            assert over_k < 0.01, f"cools faster than the fastest by {over_k} K: {pair}"
            assert under_k < 0.01, f"cools slower than the slowest by {under_k} K: {pair}"
        assert top_c - off_c <= expected.stored_rise_k, f"rose by {top_c - off_c} K after switch-off: {pair}"


@pytest.mark.parametrize("room_c", [(15.0, 30.0), (-8.0, 2.0)], ids=["room", "winter garage"])
def test_stuck_on_it_settles_within_the_bounds(room_c: tuple[float, float], dice: Random, long_count: Callable[[int, int], int]) -> None:
    for pair in pairs(dice, long_count(40, PRINTERS), room_c):
        least_c, _, most_c = pair.expected.steady_c()
        assert least_c <= pair.settles_c() <= most_c, f"settles at {pair.settles_c()}, {least_c} to {most_c}: {pair}"


def test_the_usual_time_is_about_that_of_a_heater_as_it_is_told() -> None:
    """A bed and a hotend that are just as described; the plant has materials and losses of its own."""
    bed = HeaterFacts(
        kind="bed", rated_w=500.0, normal_max_c=100.0, harm_c=150.0, width_mm=300.0, depth_mm=300.0, plate_mm=5.0,
        plate_material="aluminium", face_mm=0.8, face_material="spring steel",
    )  # fmt: skip
    hotend = HeaterFacts(kind="hotend", rated_w=50.0, normal_max_c=230.0, harm_c=310.0, block_g=18.0)
    for told in (bed, hotend):
        known = expectations(Facts(**{field.name: getattr(told, field.name) for field in fields(Facts)}))
        assert known is not None
        pair = Pair(0, told, TrueHeater(), 22.0, known)
        *_, (took_s, _, _) = pair.heats_up(pair.chain(), told.normal_max_c)
        usual_s = known.heating_time_s(22.0, told.normal_max_c).usual
        assert not isinf(usual_s)
        assert usual_s == pytest.approx(took_s, rel=0.15)
