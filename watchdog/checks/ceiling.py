"""The reading stays above an absolute limit."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core import wild
from watchdog.core.check import Check, Finding
from watchdog.core.values import INFINITY, NEVER
from watchdog.core.view import HeaterView, is_last_of_one_switched_off

SILENCE_INTERVALS = 2.5
"""So many reporting intervals without a word, and a reading above the ceiling stands as undenied."""

CORRECTS_WITHIN_S = 5.0
"""A source that reports on change looks again, and takes a word back, within this time; for a wild one it may need a look more."""

STOOD_S, STOOD_INTERVALS, STOOD_WILD_S = 60.0, 3.0, 30.0
"""A word below the ceiling that nobody denied for so long has cleared what was before it, even where no second one came; a wild one sooner,
where its source reports on change."""

WILD_OFF_K = 25.0
"""Nothing rises so far from one reading to the next while it is off: what heats by itself was seen, and cut, before."""

WILD_K = 250.0
"""Nothing that heats makes a reading jump so far, not even beside a few words that were lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CeilingLimits:
    """Limits of the ceiling check."""

    above_c: float
    """Absolute limit in degrees Celsius, above 0; a reading exactly at it is still allowed."""

    confirm_s: float
    """How long readings must stay above it, in seconds; 0 cuts on the first one."""


class Ceiling(Check):
    """Cuts when the hottest valid sensor of a heater stays above `above_c` for `confirm_s`.

    It needs two readings above the limit (three when one below came between them, or when no heat can have brought it there), so that wild
    samples do nothing; readings below must persist for `confirm_s` to clear it, so that a second voice on the topic cannot talk a
    hot reading away. When readings stop while above the limit, or come only on change, the last word stands.
    With `confirm_s` 0 the first reading above the limit cuts. It uses raw readings alone.
    """

    name: ClassVar[str] = "ceiling"
    STATE: ClassVar[tuple[str, ...]] = ("_since", "_above", "_below_since", "_denied", "_below_c")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: CeilingLimits) -> None:
        super().__init__()
        self.limits = limits
        self._since = NEVER
        self._above = 0
        self._below_since = NEVER
        self._denied = False
        self._below_c: float | None = None

    def on_reading(self, view: HeaterView) -> Finding | None:
        hottest_c, spoken_c = view.hottest_c, view.spoken_c
        if not view.fresh or hottest_c is None or spoken_c is None:
            return None
        above_c = self.limits.above_c
        if hottest_c <= above_c:
            self.deadline = INFINITY
            self._below_c = hottest_c
            if self._since == NEVER:
                self.near(0.95 * hottest_c / above_c)
            else:
                self._clear_when_it_lasts(view.now)
            return None
        if spoken_c <= above_c:  # another sensor's word stands, and is no second word for that
            return None
        now = view.now
        is_wild = self._is_wild(view, spoken_c)
        if self._below_since != NEVER and now - self._below_since >= self._stood_s(view, is_wild=is_wild):
            self._clear()
        if self._since == NEVER:
            self._since = now
        self._above += 1
        self._below_since = NEVER
        needed = 1 if self.limits.confirm_s == 0.0 else 3 if self._denied or is_wild else 2
        if self._above >= needed and now - self._since >= self.limits.confirm_s:
            return self._finding(view, hottest_c)
        quiet_s = SILENCE_INTERVALS * view.spoken_interval_s
        if view.source.on_change:
            quiet_s = wild.CORRECTS_WITHIN_S if is_wild else CORRECTS_WITHIN_S
        elif is_wild:
            quiet_s = max(quiet_s, wild.QUIET_S)
        self.deadline = max(self._since + self.limits.confirm_s, now + quiet_s)
        self.near(0.95)
        return None

    def _is_wild(self, view: HeaterView, spoken_c: float) -> bool:
        before_c = self.limits.above_c if self._below_c is None else self._below_c
        return spoken_c - before_c > WILD_K and (view.source.on_change or view.spoken_interval_s <= wild.SELDOM_S)

    def on_deadline(self, view: HeaterView) -> Finding | None:
        self.deadline = INFINITY
        hottest_c = view.hottest_c
        if hottest_c is None or hottest_c <= self.limits.above_c:
            return None
        jumped_k = 0.0 if self._below_c is None else hottest_c - self._below_c
        if self._above == 1 and jumped_k > WILD_OFF_K and is_last_of_one_switched_off(view):
            return None  # one wild word, and then its owner switched it off: the silence is the matter of another check
        return self._finding(view, hottest_c)

    def _clear_when_it_lasts(self, now: float) -> None:
        self._denied = True
        if self._below_since == NEVER:
            self._below_since = now
        elif now - self._below_since >= self.limits.confirm_s:
            self._clear()

    def _stood_s(self, view: HeaterView, *, is_wild: bool) -> float:
        if is_wild and view.source.on_change:
            return max(self.limits.confirm_s, STOOD_WILD_S)
        return max(self.limits.confirm_s, STOOD_S, STOOD_INTERVALS * view.spoken_interval_s)

    def _clear(self) -> None:
        self._since = self._below_since = NEVER
        self._above = 0
        self._denied = False

    def _finding(self, view: HeaterView, hottest_c: float) -> Finding:
        self.deadline = INFINITY
        self.headroom = 1.0
        lasted_s = view.now - self._since
        return Finding(
            "cut",
            f"{view.heater} reads {hottest_c:.1f} degC, above its ceiling of {self.limits.above_c:.1f} degC for {lasted_s:.1f} s",
            {"temperature_c": hottest_c, "above_c": self.limits.above_c, "lasted_s": lasted_s, "confirm_s": self.limits.confirm_s},
        )
