"""What the physics of one heater allow: the fastest and slowest it may heat and cool, where it ends, how long to harm.

One lump of heat with losses: C dT/dt = P - loss(T) (Incropera, 5.3; Cengel, 4-1), with bounds for all that an owner cannot know
exactly. Temperatures in degrees Celsius, rates in kelvin a second, times in seconds.
"""

from typing import Protocol

from watchdog.thermal.bed import bed
from watchdog.thermal.curve import Curve
from watchdog.thermal.facts import Facts, Range
from watchdog.thermal.hotend import hotend
from watchdog.thermal.lumped import settles_c, time_between_s

FACTS_ARE_WRONG_BY = 0.2
"""Watts, masses and sizes that people tell are wrong by 10 to 20 % in life."""

SAG = 0.95
"""A supply under load and long wires take some of the power away."""

COPPER_PER_K = 0.0039
"""How much the resistance of copper tracks grows per kelvin over 25 degrees Celsius."""

CAUTIOUS_LOSS = 1.3
"""Correlations, emissivity and insulation together are seldom wrong by more."""

AIR_C = Range(15.0, 22.0, 40.0)
"""The air around a printer: a cool workshop, a room, an enclosure."""

STEADY_FROM_C, STEADY_TO_C = -40.0, 3000.0


class Body(Protocol):
    """A bed or a hotend."""

    @property
    def capacity_j_per_k(self) -> Range: ...

    def loss_w(self, celsius: float, air_c: float) -> Range: ...

    def stored_rise_k(self, power_w: float) -> float: ...


class Expectations:
    """Of one heater. What is asked for with each reading comes from curves that are computed once."""

    __slots__ = (
        "_cautious",
        "_fastest",
        "_least_j_per_k",
        "_most_j_per_k",
        "_slow_fall",
        "_slow_loss",
        "_slow_power",
        "_usual",
        "body",
        "facts",
        "tracks",
    )

    def __init__(self, facts: Facts, body: Body) -> None:
        self.facts, self.body = facts, body
        self.tracks = facts.plate_material == "circuit board"
        capacity = self.capacity_j_per_k
        self._least_j_per_k, self._most_j_per_k = capacity.least, capacity.most
        self._slow_loss = Curve(lambda celsius: max(self.loss_w(celsius).most, 0.0))
        self._slow_power = Curve(lambda celsius: self.power_w(celsius).least)
        self._slow_fall = Curve(lambda celsius: max(self.loss_w(celsius).least, 0.0))
        self._fastest = Curve(self._fastest_rise)
        self._usual = Curve(self._usual_rise)
        self._cautious = Curve(self._cautious_rise)

    def power_w(self, celsius: float) -> Range:
        """What it draws at full power; copper tracks draw less when they are hot."""
        rated_w = self.facts.rated_w
        hot = 1.0 + COPPER_PER_K * max(celsius - 25.0, 0.0) if self.tracks else 1.0
        return Range(SAG * (1.0 - FACTS_ARE_WRONG_BY) * rated_w / hot, rated_w / hot, (1.0 + FACTS_ARE_WRONG_BY) * rated_w)

    @property
    def capacity_j_per_k(self) -> Range:
        """Heat capacity with the error of facts."""
        own = self.body.capacity_j_per_k
        return Range(own.least * (1.0 - FACTS_ARE_WRONG_BY), own.usual, own.most * (1.0 + FACTS_ARE_WRONG_BY))

    def loss_w(self, celsius: float) -> Range:
        """What it loses: the least in warm air, the most in cold air and a draft; negative where the air warms it."""
        warm = self.body.loss_w(celsius, AIR_C.most)
        cold = self.body.loss_w(celsius, AIR_C.least)
        # air that warms it does so the most where its surfaces are at their best
        return Range(min(warm), self.body.loss_w(celsius, AIR_C.usual).usual, max(cold))

    def fastest_rise_k_per_s(self, celsius: float) -> float:
        """At full power, the strongest and lightest that it may be; negative where even that must cool."""
        return self._fastest.at(celsius)

    def _fastest_rise(self, celsius: float) -> float:
        net_w = self.power_w(celsius).most - self.loss_w(celsius).least
        return net_w / (self._least_j_per_k if net_w > 0.0 else self._most_j_per_k)

    def cautious_rise_k_per_s(self, celsius: float) -> float:
        """At full power, with watts 20 % less, mass 20 % more and losses 30 % more than its facts say."""
        return self._cautious.at(celsius)

    def _cautious_rise(self, celsius: float) -> float:
        loss_w = self.loss_w(celsius).usual
        net_w = self.power_w(celsius).least / SAG - max(loss_w, CAUTIOUS_LOSS * loss_w)
        return net_w / ((1.0 + FACTS_ARE_WRONG_BY) * self.capacity_j_per_k.usual)

    def usual_rise_k_per_s(self, celsius: float) -> float:
        """At full power, just as its facts say."""
        return self._usual.at(celsius)

    def _usual_rise(self, celsius: float) -> float:
        return (self.power_w(celsius).usual - self.loss_w(celsius).usual) / self.capacity_j_per_k.usual

    def slowest_rise_k_per_s(self, celsius: float, duty: float = 1.0) -> float:
        """At `duty` (0 to 1), the weakest and heaviest that it may be; negative where even that must cool."""
        net_w = duty * self._slow_power.at(celsius) - self._slow_loss.at(celsius)
        return net_w / (self._most_j_per_k if net_w > 0.0 else self._least_j_per_k)

    def slowest_fall_k_per_s(self, celsius: float) -> float:
        """Without power, in warm and still air; never negative."""
        return self._slow_fall.at(celsius) / self._most_j_per_k

    def usual_fall_k_per_s(self, celsius: float) -> float:
        """Without power, just as its facts say; never negative."""
        return max(self.loss_w(celsius).usual, 0.0) / self.capacity_j_per_k.usual

    def fastest_fall_k_per_s(self, celsius: float) -> float:
        """Without power, the lightest that it may be in cold air and a draft; never negative."""
        return self._slow_loss.at(celsius) / self._least_j_per_k

    @property
    def stored_rise_k(self) -> float:
        """How far stored heat may lift the reading after switch-off."""
        return self.body.stored_rise_k(self.power_w(25.0).most)

    def steady_c(self) -> Range:
        """Where it settles when it is stuck on."""
        return Range(*(self._settles(number) for number in range(3)))

    def _settles(self, number: int) -> float:
        return settles_c(
            STEADY_FROM_C, STEADY_TO_C, lambda celsius: self.power_w(celsius)[number], lambda celsius: self.loss_w(celsius)[2 - number]
        )

    def heating_time_s(self, from_c: float, to_c: float) -> Range:
        """From one temperature to a higher one at full power: the shortest, usual and longest; infinite where it never arrives."""
        return Range(
            time_between_s(from_c, to_c, self.fastest_rise_k_per_s),
            time_between_s(from_c, to_c, self.usual_rise_k_per_s),
            time_between_s(from_c, to_c, self.slowest_rise_k_per_s),
        )

    def cooling_time_s(self, from_c: float, to_c: float) -> Range:
        """From one temperature to a lower one without power: the shortest, usual and longest; infinite where it never arrives."""
        return Range(
            time_between_s(from_c, to_c, lambda celsius: -self.fastest_fall_k_per_s(celsius)),
            time_between_s(from_c, to_c, lambda celsius: -self.usual_fall_k_per_s(celsius)),
            time_between_s(from_c, to_c, lambda celsius: -self.slowest_fall_k_per_s(celsius)),
        )


def expectations(facts: Facts) -> Expectations | None:
    """None where facts are missing: rated power, and the size of a bed or the mass of a hotend's block."""
    if not facts.rated_w > 0.0:
        return None
    body: Body | None = bed(facts) if facts.kind == "bed" else hotend(facts) if facts.kind == "hotend" else None
    return None if body is None else Expectations(facts, body)
