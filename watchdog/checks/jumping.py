"""The reading moves faster than any heat can move it, again and again."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import NEVER
from watchdog.core.view import HeaterView

SELDOM_S = 5.0
"""A source with a longer interval shows fewer of the jumps, unless it reports on change: they are remembered for longer, in proportion."""

GAP_INTERVALS = 2.5
"""After a longer silence a change may be real."""

FASTER = 2.0
"""Physics say how fast a lump of metal heats; a strong heater close to its sensor is twice as fast."""

SLOWER = 0.25
"""Nothing cools as fast as it can heat, a wet cloth or a wrench apart."""

NOISES = 6.0
"""Noise of one standard deviation moves two neighbouring readings no further apart than so many of it."""

MOST_NOISE_K = 0.7
"""More than that is no noise any more: jumps must not excuse themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JumpingLimits:
    """Limits of the jumping check."""

    jump_k: float
    """How far apart, in kelvin, two readings may lie beyond what heat explains."""

    rate_k_per_s: float
    """The fastest true change, in kelvin a second, of such a heater; its facts may say less."""

    jumps: float
    """So many jumps, more than are forgotten meanwhile, are a bad contact."""

    forget_s: float
    """One jump is forgotten in this time, in seconds: a single glitch is two jumps."""


class Jumping(Check):
    """Cuts when a reading jumps again and again: a loose plug, a chafed wire, two publishers on one topic.

    A jump is further than `jump_k` beyond what heat can do between two readings. Jumps are counted, and forgotten one each `forget_s`, so
    that a glitch now and then does nothing. A gap may hide a real change and is no jump. A heater that is off only advises.
    """

    name: ClassVar[str] = "jumping"
    STATE: ClassVar[tuple[str, ...]] = ("_count", "_counted_at", "_first_at", "_widest_k", "_told")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: JumpingLimits) -> None:
        super().__init__()
        self.limits = limits
        self._count = self._widest_k = 0.0
        self._counted_at = self._first_at = NEVER
        self._told = False

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c, previous_c = view.temperature_c, view.previous_c
        if not view.fresh or view.sensor or temperature_c is None or previous_c is None:
            return None
        elapsed_s = view.now - view.previous_at
        if elapsed_s > GAP_INTERVALS * view.source.longest_interval_s:
            return None
        moved_k = abs(temperature_c - previous_c)
        if moved_k <= self.limits.jump_k:
            return None
        share = 1.0 if temperature_c > previous_c else SLOWER
        heat_k = share * self._rate(view, min(temperature_c, previous_c)) * elapsed_s
        if moved_k <= self.limits.jump_k + NOISES * min(view.noise_k or 0.0, MOST_NOISE_K) + heat_k:
            return None
        return self._jumped(view, temperature_c, moved_k)

    def _rate(self, view: HeaterView, celsius: float) -> float:
        rate = self.limits.rate_k_per_s
        return rate if view.expected is None else min(rate, FASTER * max(view.expected.usual_rise_k_per_s(celsius), 0.0))

    def _jumped(self, view: HeaterView, temperature_c: float, moved_k: float) -> Finding | None:
        now, limits = view.now, self.limits
        seldom = 1.0 if view.source.on_change else max(1.0, view.source.longest_interval_s / SELDOM_S)
        forget_s = limits.forget_s * seldom
        self._count = max(0.0, self._count - (now - self._counted_at) / forget_s)
        if self._count == 0.0:
            self._first_at, self._widest_k, self._told = now, 0.0, False
        self._count += 1.0
        self._counted_at = now
        self._widest_k = max(self._widest_k, moved_k)
        self.near(self._count / limits.jumps)
        if not self._count >= limits.jumps:
            return None
        idle = view.target_c is not None and view.target_c <= 0.0
        if idle and self._told:
            return None
        self._told = True
        if not idle:
            self.headroom = 1.0
        took_s = now - self._first_at
        return Finding(
            "advise" if idle else "cut",
            f"{view.heater} jumps by up to {self._widest_k:.1f} K from one reading to the next, again and again for {took_s:.0f} s; "
            "no heat moves it so fast",
            {"temperature_c": temperature_c, "widest_k": self._widest_k, "jumps": self._count, "took_s": took_s},
        )
