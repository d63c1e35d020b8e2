"""The reading does not move although it must."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.course import FALLEN_K, Course
from watchdog.core.roughness import equal_by_chance
from watchdog.core.values import INFINITY, NEVER, JsonObject
from watchdog.core.view import HeaterView, is_warmed, says_the_same

NOISY, ROWS = 0.5, 5.0
"""Noise of at least half a step of the resolution shows in the readings; a row so many times as long as any that ended is no chance."""

FULL = 0.9
STILL_K, SHOWS_K = 10.0, 2.0
"""A heater that rises by less than the second in `heating_s` may have come to its end, for all that facts tell."""

LEAST_COUNT, LEAST_LIVES = 4, 3
"""So many readings, however seldom they come; a word that was sent on change, and the proofs of life after it that let it stand."""

FINEST_K, FINEST_TIMES, WARM_C = 0.03, 2.5, 40.0
"""Nothing warm stands still to this for so many times `steady_s`, even at its target; nor, where it has noise, at all."""

FINE_K = 0.25
OFF_TARGET_K = 1.0
"""A sensor with steps this fine shows that a controller is still looking for a target this far away."""

NEIGHBOUR_K = 15.0
"""What is no more than so much hotter than a neighbour, a chamber perhaps, may be held by it above its target."""

OFF_TARGET = "it is not at its target"
TOO_STILL = "its steps are fine and it is warm"
PERHAPS_WEAK = "it is below its target"
COARSE_K, NOISY_COARSE = 0.2, 0.8
"""Of coarse steps a few, seen while a controller settles, look like noise: more of it is asked for."""

HEATING = "much heat is asked for"
COOLING = "it is off and hot"


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckLimits:
    """Limits of the stuck check."""

    noisy_s: float
    """How long a sensor whose noise is known may repeat one value, in seconds."""

    heating_s: float
    """How long any reading may repeat one value while much heat is asked for, in seconds."""

    heating_least_s: float
    """Where its facts demand a rise of 10 K in less than `heating_s`, that is enough, but never less than this, in seconds."""

    heating_gap_k: float
    """Much heat is asked for when the reading is this far below its target, in kelvin."""

    cooling_s: float
    """How long any reading may repeat one value while the heater is off and hot, in seconds."""

    hot_c: float
    """Above this, in degrees Celsius, a heater that is off must be seen to cool."""

    heating_below_c: float
    """Below this, in degrees Celsius, even the weakest heater of its class rises when much is asked of it."""

    steady_s: float
    """How long a fine reading may repeat one value that is not its target, in seconds."""

    weak_s: float
    """The same, in seconds, below a target that the heater may be too weak to reach."""


class Stuck(Check):
    """Cuts when a reading repeats one value although it must move: a sensor, a cable or a bridge that shows the past.

    Four reasons to move: its own noise (known from before, at least half a step of its resolution, so that a long row of equal
    readings is no chance); much heat asked for, far from the target; being off and hot; and, for a fine
    sensor, standing beside its target for many minutes. A coarse reading at a steady target
    repeats itself for minutes and lets nothing be known. Of a source that reports on change, a proof of life repeats its last word; only
    heating and cooling must then move it. A stuck reading of a heater that is cold and off is an advisory.
    """

    name: ClassVar[str] = "stuck"
    STATE: ClassVar[tuple[str, ...]] = (
        "_value_c",
        "_since",
        "_count",
        "_reason",
        "_owed_since",
        "_told",
    )
    __slots__ = (*STATE, "_course", "limits")

    def __init__(self, limits: StuckLimits) -> None:
        super().__init__()
        self.limits = limits
        self._value_c: float | None = None
        self._since = NEVER
        self._count = 0
        self._reason = ""
        self._owed_since = NEVER
        self._told = False
        self._course = Course()

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if temperature_c is None:
            return None
        fresh = view.fresh and not view.sensor
        course = self._course
        if fresh and (view.low_c > course.top_c or view.high_c <= course.top_c - FALLEN_K):
            course.climb(view)
        if temperature_c != self._value_c:
            if fresh:
                course.move(view.now, temperature_c, 0.0 if self._value_c is None else self._value_c - temperature_c)
                self._value_c, self._since, self._count, self._told = temperature_c, view.now, 1, False
            return None
        reason = self._must_move(view, temperature_c)
        if reason != self._reason or self._count == 1:  # a value repeated before there was a reason to move owes nothing for that time
            self._owed_since = self._since if self._count == 1 else view.now
            self._reason = reason
        if not (fresh or says_the_same(view)):
            return None
        self._count += 1
        found = None
        if self._is_noisy(view):
            noise = f"its readings had noise of {view.noise_k or 0.0:.2g} K before"
            equal_s = view.now - max(self._since, view.target_changed_at)  # cold and off, it owed nothing
            found = self._judge(view, temperature_c, equal_s, self.limits.noisy_s, noise, WARM_C)
        least = LEAST_LIVES if view.source.on_change else LEAST_COUNT
        if reason in (OFF_TARGET, PERHAPS_WEAK, TOO_STILL):  # where it has rested before, it may rest again
            least = max(least, int(ROWS * view.longest_row))
        if reason and found is None and self._count >= least:
            owed_s, allowed_s = view.now - max(self._since, self._owed_since), self._allowed_s(view, reason, temperature_c)
            found = self._judge(view, temperature_c, owed_s, allowed_s, reason, self.limits.hot_c)
        return found

    def _judge(self, view: HeaterView, temperature_c: float, equal_s: float, allowed_s: float, why: str, hot_c: float) -> Finding | None:
        """Nothing is cut that is off, or may be, and no hotter than `hot_c`."""
        self.near(equal_s / allowed_s)
        if not equal_s >= allowed_s:
            return None
        idle = temperature_c <= hot_c and (view.target_c is None or view.target_c <= 0.0)
        only_advise = idle or why == PERHAPS_WEAK
        if only_advise and self._told:
            return None
        self._told = True
        if not only_advise:
            self.headroom = 1.0
        return Finding(
            "advise" if only_advise else "cut",
            f"{view.heater} has read exactly {temperature_c:g} degC for {equal_s:.0f} s although {why}",
            {"temperature_c": temperature_c, "equal_s": equal_s, "readings": float(self._count), "allowed_s": allowed_s},
        )

    def _must_move(self, view: HeaterView, temperature_c: float) -> str:
        """Why any reading would have to move now; empty when there is no such reason."""
        target_c = view.target_c
        if target_c is None:
            return ""
        if target_c > 0.0:
            reason = self._must_approach(view, target_c, temperature_c)
            return reason if reason == HEATING or not view.source.on_change else ""
        return COOLING if target_c <= 0.0 and temperature_c > self.limits.hot_c else ""

    def _must_approach(self, view: HeaterView, target_c: float, temperature_c: float) -> str:
        """A weak heater may have come to its end below its target: only a strong one, or a cold one, must go on rising."""
        gap_k = target_c - temperature_c
        rises_k = 0.0 if view.expected is None else view.expected.cautious_rise_k_per_s(temperature_c) * self.limits.heating_s
        strong = rises_k >= SHOWS_K
        much = gap_k >= self.limits.heating_gap_k or (gap_k >= OFF_TARGET_K and strong and view.duty is not None and view.duty >= FULL)
        if much and (strong or self._course.was_rising(self._since, temperature_c) or temperature_c < self.limits.heating_below_c):
            return HEATING
        if gap_k < 0.0 and (temperature_c < WARM_C or is_warmed(view, temperature_c, NEIGHBOUR_K)):
            return ""  # nothing that is as cold as its surroundings falls
        resolution_k = view.resolution_k or INFINITY
        if abs(gap_k) < OFF_TARGET_K or resolution_k > FINE_K:
            return TOO_STILL if resolution_k <= FINEST_K and temperature_c >= WARM_C else ""
        return OFF_TARGET if strong or gap_k < 0.0 else PERHAPS_WEAK

    def _allowed_s(self, view: HeaterView, reason: str, temperature_c: float) -> float:
        limits = self.limits
        if reason == HEATING and view.expected is not None:
            rise_k_per_s = view.expected.cautious_rise_k_per_s(temperature_c)
            if rise_k_per_s > 0.0:
                shows_s = limits.heating_s
                if not self._course.sank:
                    shows_s = min(shows_s, max(limits.heating_least_s, STILL_K / rise_k_per_s))
                return max(shows_s, self._course.climbs_in_s(view.target_changed_at, limits.weak_s))
        allowed_s = {HEATING: limits.heating_s, OFF_TARGET: limits.steady_s, PERHAPS_WEAK: limits.weak_s}
        return allowed_s.get(reason, FINEST_TIMES * limits.steady_s if reason == TOO_STILL else limits.cooling_s)

    def _is_noisy(self, view: HeaterView) -> bool:
        noise_steps = view.lively_steps
        if view.source.on_change or noise_steps is None:
            return False
        resolution_k = view.resolution_k
        if not noise_steps >= (NOISY if resolution_k is not None and resolution_k <= COARSE_K else NOISY_COARSE):
            return False
        return self._count >= max(equal_by_chance(noise_steps), ROWS * view.longest_row)

    def snapshot(self) -> JsonObject:
        return super().snapshot() | {"course": self._course.snapshot()}

    def restore(self, saved: JsonObject) -> None:
        super().restore(saved)
        self._course.restore(saved["course"])
