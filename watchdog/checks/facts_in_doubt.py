"""The reading is at odds with what is known of its heater or its source."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.units import unit_hint
from watchdog.core.values import NEVER
from watchdog.core.view import HeaterView

GAP_INTERVALS = 2.5
JUMP_K, JUMP_TIMES = 5.0, 2.0
"""Further apart than this beyond all facts, two readings do not show heat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactsInDoubtLimits:
    """Limits of the facts-in-doubt check."""

    ahead_k: float
    """How far, in kelvin, a reading may get ahead of the fastest rise that its facts allow."""

    rest_s: float
    """How long, in seconds, a heater that is off must stand still before its reading can be doubted."""

    still_k: float
    """Standing still means within so many kelvin."""


class FactsInDoubt(Check):
    """Advises when the heater is stronger or lighter than it was declared, or its source speaks kelvin or Fahrenheit; never cuts.

    Wrong facts take the edge off the checks that go by them. A rise beyond the fastest one that the facts allow adds up until it is
    `ahead_k`; it is told once. A heater that is off, with all of its printer, and
    stands still at a value that no room has, but has in another unit, is told too.
    """

    name: ClassVar[str] = "facts in doubt"
    STATE: ClassVar[tuple[str, ...]] = ("_ahead_k", "_last_c", "_last_at", "_rest_c", "_rest_since", "_told_ahead", "_told_unit")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: FactsInDoubtLimits) -> None:
        super().__init__()
        self.limits = limits
        self._ahead_k = self._last_c = self._rest_c = 0.0
        self._last_at = self._rest_since = NEVER
        self._told_ahead = self._told_unit = False

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c, before_c = view.temperature_c, view.previous_c
        if not view.fresh or view.sensor or temperature_c is None or before_c is None:
            return None
        return self._too_fast(view) or self._other_unit(view, temperature_c)

    def _too_fast(self, view: HeaterView) -> Finding | None:
        """One wild sample is no rise, and no fall that a rise can follow."""
        if view.expected is None or self._told_ahead:
            return None
        elapsed_s, last_c = view.now - self._last_at, self._last_c
        low_c = view.low_c if last_c < view.low_c else min(last_c, view.high_c)
        self._last_c, self._last_at = low_c, view.now
        if low_c <= last_c and self._ahead_k == 0.0:
            return None
        if elapsed_s > GAP_INTERVALS * view.source.longest_interval_s:
            self._ahead_k = 0.0
            return None
        fastest_k_per_s = view.expected.fastest_rise_k_per_s(low_c)
        if abs(low_c - last_c) > JUMP_K + JUMP_TIMES * fastest_k_per_s * elapsed_s:
            return None  # a jump is the matter of another check
        self._ahead_k = max(0.0, self._ahead_k + low_c - last_c - fastest_k_per_s * elapsed_s)
        if not self._ahead_k >= self.limits.ahead_k:
            return None
        self._told_ahead = True
        return Finding(
            "advise",
            f"{view.heater} rises faster than its facts allow ({fastest_k_per_s:.2f} K/s at {low_c:.0f} degC) and is {self._ahead_k:.1f} K "
            "ahead of that: it is stronger or lighter than declared",
            {"temperature_c": low_c, "ahead_k": self._ahead_k, "fastest_k_per_s": fastest_k_per_s},
        )

    def _other_unit(self, view: HeaterView, temperature_c: float) -> Finding | None:
        moved = abs(temperature_c - self._rest_c) > self.limits.still_k
        if moved or (view.target_c is not None and view.target_c > 0.0) or not view.printer_is_off:
            self._rest_c, self._rest_since = temperature_c, view.now
            return None
        rested_s = view.now - self._rest_since
        if self._told_unit or rested_s < self.limits.rest_s:
            return None
        hint = unit_hint(temperature_c, None, view.coldest_c)
        if not hint:
            return None
        self._told_unit = True
        return Finding(
            "advise",
            f"{view.heater} is off and stands still at {temperature_c:.1f} for {rested_s:.0f} s, which no room is{hint}",
            {"temperature_c": temperature_c, "rested_s": rested_s},
        )
