"""The reading is one that only an open or shorted sensor gives."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import INFINITY, NEVER
from watchdog.core.view import HeaterView, is_last_of_one_switched_off
from watchdog.core.wild import CORRECTS_WITHIN_S, QUIET_S, SELDOM_S

SILENCE_INTERVALS = 2.5
"""So many reporting intervals without a word, and an impossible reading stands as undenied."""

WORDS = 3
"""So many impossible words are needed, one less of a source that speaks seldom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutOfRangeLimits:
    """Limits of the out-of-range check."""

    coldest_c: float
    """Below this, in degrees Celsius, a reading that jumped there is an open sensor."""

    hottest_c: float
    """Above this, in degrees Celsius, a reading is a shorted sensor (or a heater beyond saving)."""

    confirm_s: float
    """How long it must last, in seconds, with at least three readings (two of a source that speaks seldom)."""

    jump_k: float = 12.0
    """A fall of this many kelvin between two readings is no weather."""

    frost_c: float = -35.0
    """Below this, in degrees Celsius, no winter reaches: out of range however it got there."""


class OutOfRange(Check):
    """Cuts when readings show an open or shorted sensor for `confirm_s`: a heater nobody can see must not be heated.

    Above `hottest_c` or below `frost_c` is always out of range. Between `frost_c` and `coldest_c` it depends on how the
    reading came there: by a jump (open sensor) or slowly (a winter garage). One bad sample does nothing.
    It uses raw readings of the controlling sensor alone: it is the one by which the heater is driven.
    """

    name: ClassVar[str] = "out of range"
    STATE: ClassVar[tuple[str, ...]] = ("_since", "_bad", "_good_c")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: OutOfRangeLimits) -> None:
        super().__init__()
        self.limits = limits
        self._since = NEVER
        self._bad = 0
        self._good_c: float | None = None

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if not view.fresh or view.sensor or temperature_c is None:
            return None
        if not self._impossible(view, temperature_c):
            if view.previous_c is None or abs(temperature_c - view.previous_c) <= self.limits.jump_k:
                self._good_c = temperature_c  # two readings agree: one wild sample is nothing to compare with
            self._since, self._bad = NEVER, 0
            self.deadline = INFINITY
            return None
        now = view.now
        if self._since == NEVER:
            self._since = now
        self._bad += 1
        self.near(0.5)
        needed = WORDS if view.source.longest_interval_s <= SELDOM_S else WORDS - 1
        if self._bad >= needed and now - self._since >= self.limits.confirm_s:
            return self._finding(view, temperature_c)
        quiet_s = CORRECTS_WITHIN_S if view.source.on_change else max(SILENCE_INTERVALS * view.source.longest_interval_s, QUIET_S)
        self.deadline = max(self._since + self.limits.confirm_s, now + quiet_s)
        return None

    @property
    def alarmed(self) -> bool:
        return self._bad > 0

    def on_deadline(self, view: HeaterView) -> Finding | None:
        self.deadline = INFINITY
        if view.temperature_c is None or (self._bad == 1 and self._good_c is not None and is_last_of_one_switched_off(view)):
            return None
        return self._finding(view, view.temperature_c)

    def _impossible(self, view: HeaterView, temperature_c: float) -> bool:
        limits = self.limits
        if limits.coldest_c <= temperature_c <= limits.hottest_c:
            return False
        if not (limits.frost_c <= temperature_c <= limits.hottest_c):
            return True
        if self._good_c is None:  # nothing to compare with: a cold garage is believed only while nothing heats
            return view.target_c is not None and not view.target_c <= 0.0
        return self._good_c - temperature_c > limits.jump_k

    def _finding(self, view: HeaterView, temperature_c: float) -> Finding:
        self.deadline = INFINITY
        self.headroom = 1.0
        high = temperature_c > self.limits.hottest_c
        limit_c = self.limits.hottest_c if high else self.limits.coldest_c
        signature = "a shorted" if high else "an open"
        side = "above" if high else "below"
        return Finding(
            "cut",
            f"{view.heater} reads {temperature_c:.1f} degC, {side} {limit_c:.1f} degC: the signature of {signature} sensor",
            {"temperature_c": temperature_c, "limit_c": limit_c, "lasted_s": view.now - self._since},
        )
