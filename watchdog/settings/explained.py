"""What physics expect of a heater, in words, each with its range; and which facts are missing for it."""

from math import inf, isinf
from typing import NamedTuple

from watchdog.settings.heater_facts import facts_of
from watchdog.settings.learnt import VOID, holds
from watchdog.settings.model import Heater
from watchdog.settings.physics import expected
from watchdog.settings.safety import safety
from watchdog.thermal.expectations import Expectations
from watchdog.thermal.facts import Range
from watchdog.thermal.layers import layers

ROOM_C = 22.0
TOUCH_C = 50.0
NEEDED = {"bed": ("rated_w", "width_mm", "depth_mm", "plate_mm"), "hotend": ("rated_w", "block_g")}
"""Without these nothing can be computed; a bed without a plate needs its face instead."""


class Line(NamedTuple):
    """One quantity. The least and the most are infinite, or missing, where there is none."""

    what: str
    unit: str
    least: float
    usual: float
    most: float

    @property
    def sentence(self) -> str:
        """As people read it."""
        if isinf(self.usual):
            return f"never by its facts; {_number(self.least)} {self.unit} at the soonest" if not isinf(self.least) else "never"
        most = "never" if isinf(self.most) else _number(self.most)
        return f"{_number(self.usual)} {self.unit} ({_number(self.least)} to {most})"


def lines(heater: Heater) -> tuple[Line, ...]:
    """Nothing where facts are missing."""
    physics = expected(heater)
    found = safety(heater)
    if physics is None or found is None:
        return ()
    normal_c, ceiling_c = physics.facts.normal_max_c, found.ceiling_c
    return (
        _line("heat capacity", "J/K", physics.capacity_j_per_k),
        _line(f"loss at {normal_c:.0f} degC", "W", physics.loss_w(normal_c)),
        _line(f"rise at full power at {ROOM_C:.0f} degC", "K/s", _rises(physics, ROOM_C)),
        _line(f"rise at full power at {normal_c:.0f} degC", "K/s", _rises(physics, normal_c)),
        _line(f"heat-up from {ROOM_C:.0f} to {normal_c:.0f} degC", "s", physics.heating_time_s(ROOM_C, normal_c)),
        _line(f"own cooling from {normal_c:.0f} to {TOUCH_C:.0f} degC", "s", physics.cooling_time_s(normal_c, TOUCH_C)),
        Line("stored heat after switch-off lifts it by", "K", 0.0, found.stored_k, physics.stored_rise_k),
        _line("steady temperature if stuck on", "degC", physics.steady_c()),
        _line(f"from its ceiling {ceiling_c:.0f} to harm {found.harm_c:.0f} degC", "s", physics.heating_time_s(ceiling_c, found.harm_c)),
    )


def remarks(heater: Heater) -> tuple[str, ...]:
    """What is missing, what is void, and what is only rough."""
    void = heater.learnt is not None and not holds(heater)
    return (*((VOID,) if void else ()), *_of_facts(heater))


def _of_facts(heater: Heater) -> tuple[str, ...]:
    needed = NEEDED.get(heater.kind, ())
    if not needed:
        return ("nothing is computed for a chamber: its limits are those of its class",)
    missing = missing_facts(heater)
    if missing:
        what = "no response, stuck, jumping, the time from ceiling to harm"
        return (f"give {', '.join(missing)} as well, and its physics sharpen {what}; until then its class alone is known",)
    facts = facts_of(heater)
    return tuple(layer.remark for layer in layers(facts) if layer.remark) if facts else ()


def missing_facts(heater: Heater) -> list[str]:
    """The keys that its physics need and that nobody gave; a bed that is all face needs no plate."""
    missing = [key for key in NEEDED.get(heater.kind, ()) if getattr(heater, key) is None]
    has_face = heater.face_mm and heater.face_material not in (None, "none")
    return [key for key in missing if not (has_face and key == "plate_mm")]


def verdict(heater: Heater) -> str:
    """Whether the ceiling cuts before harm; empty where facts are missing."""
    found = safety(heater)
    if found is None:
        return ""
    if not found.protects:
        return f"the ceiling cannot protect it: {found.arithmetic}"
    if not found.in_time:
        return f"unable to protect it by the ceiling: {found.too_slow}"
    return f"the ceiling cuts in time: {found.arithmetic}" + (f"; {found.at_worst}" if found.at_worst else "")


def _rises(physics: Expectations, celsius: float) -> Range:
    return Range(physics.slowest_rise_k_per_s(celsius), physics.usual_rise_k_per_s(celsius), physics.fastest_rise_k_per_s(celsius))


def _line(what: str, unit: str, found: Range) -> Line:
    return Line(what, unit, found.least, found.usual, found.most)


def _number(value: float) -> str:
    if value in (inf, -inf):
        return "never"
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"  # noqa: PLR2004 - three digits are enough
