"""The engine's memory of one heater: newest values with their ages. Checks see it as a HeaterView."""

from collections.abc import Iterable
from typing import ClassVar

from watchdog.core.burst import Burst
from watchdog.core.check import Check, may_judge
from watchdog.core.inputs import Reading
from watchdog.core.observed import Observed
from watchdog.core.observer import Observer
from watchdog.core.plan import HeaterPlan
from watchdog.core.rate import Rate
from watchdog.core.repeated import repeat_s
from watchdog.core.source import Source
from watchdog.core.values import INFINITY, NEVER

SLOPE_INTERVALS, SLOPE_WINDOW_S = 6.0, 60.0
"""The slope is taken over this time, or over so many reporting intervals of a slow source."""

WILD_K = 5.0
"""A lone reading so far from both of its neighbours is left out of the slope."""

HEARD_INTERVALS = 2.5
"""What a source said last is no longer known to hold after so many intervals of silence."""

SENSOR_INTERVALS = 5.0
"""A further sensor that was silent for so many intervals no longer counts towards the hottest."""


class Heater(Observed):
    """One heater. Implements HeaterView; only the engine writes to it."""

    STATE: ClassVar[tuple[str, ...]] = (
        "now", "since", "temperature_c", "temperature_at", "previous_c", "previous_at",
        "low_c", "high_c", "coldest_c", "hottest_c", "lacked_at", "lacking_at", "target_doubted",
        "target_c", "target_at", "target_changed_at", "target_lowered_at", "duty", "duty_at", "is_off",
        "power_w", "power_at", "printer_power_w", "printer_power_at", "latched", "readings", "unusable", "ignored",
        "heard_live", "observer_failed", "silent_told", "spoke_at", "darkened", "sensor", "spoken_c", "retained_c", "lit_at",
    )  # fmt: skip

    # Slots: with more than thirty attributes, instances no longer share their keys, and each look-up takes another cache line.
    __slots__ = (
        *STATE, "printer", "heater", "plan", "source", "rate", "checks", "asked", "timed", "broken", "told", "sensors",
        "order", "scheduled_at", "burst", "newest", "newest_of", "fresh", "neighbours", "siblings", "repeat_s", "expected",
    )  # fmt: skip

    def __init__(self, printer: str, plan: HeaterPlan, source: Source, at: float) -> None:
        self.printer, self.heater, self.plan, self.source = printer, plan.name, plan, source
        self.expected = plan.expected
        self.observer = Observer(max(SLOPE_WINDOW_S, SLOPE_INTERVALS * source.longest_interval_s), WILD_K)
        self.rate = Rate()
        self.burst = Burst(source.longest_interval_s)
        self.broken: dict[str, str] = {}  # checks that raised, and their errors
        self.told: dict[str, float] = {}  # when a check was last quoted that does not cut
        self.sensors: dict[str, tuple[float, float]] = {}
        self.siblings: tuple[Heater, ...] = (self,)  # all heaters of the printer
        self.neighbours: tuple[Heater, ...] = ()  # other heaters of the printer that can warm this one
        self.order = 0
        self.scheduled_at = INFINITY
        self.repeat_s = repeat_s(source.longest_interval_s)
        self.darkened = self.latched = False
        self.lit_at = NEVER
        self.readings = self.unusable = self.ignored = 0
        self.forget(at)

    def forget(self, at: float) -> None:
        """Begin to watch anew at `at`: nothing heard before counts as fresh. Targets are forgotten too."""
        self.now = self.since = at
        self.newest: Reading | None = None
        self.newest_of: dict[str, Reading] = {}  # by further sensor
        self.sensor = ""
        self.spoken_c: float | None = None
        self.temperature_c: float | None = None
        self.temperature_at = NEVER
        self.previous_c: float | None = None
        self.previous_at = NEVER
        self.low_c = self.high_c = 0.0
        self.coldest_c = INFINITY
        self.lacked_at = self.lacking_at = NEVER
        self.target_doubted = False
        self.spoke_at = NEVER  # whatever it said, and were it of no use
        self.is_off = False
        self.retained_c: float | None = None  # what the broker had kept of it: shown, never judged
        self.hottest_c: float | None = None
        self.target_c: float | None = None
        self.target_at = self.target_changed_at = self.target_lowered_at = NEVER
        self.duty: float | None = None
        self.duty_at = NEVER
        self.power_w: float | None = None
        self.printer_power_w: float | None = None
        self.power_at = self.printer_power_at = NEVER
        self.fresh = self.heard_live = self.observer_failed = self.silent_told = False
        self.burst.forget()
        self.sensors.clear()
        self.observer.clear()
        self.arm(self.plan.checks())
        self.broken.clear()
        self.told.clear()

    def arm(self, checks: Iterable[Check]) -> None:
        """Let these checks watch, and no others. Who sets deadlines is found once: they are asked for it with each reading."""
        self.checks: list[Check] = list(checks)
        self.timed = [check for check in self.checks if check.sets_deadlines()]
        self.look_who_heeds()

    def look_who_heeds(self) -> None:
        """With each reading only those are asked that have anything to judge."""
        self.asked = [check for check in self.checks if may_judge(check, self)]

    @property
    def printer_is_off(self) -> bool:
        for heater in self.siblings:  # noqa: SIM110 - on the path of each reading: a loop takes half the time
            if not heater.is_off:
                return False
        return True

    @property
    def all_are_silent(self) -> bool:
        return len(self.siblings) > 1 and all(
            self.now - max(one.source.alive_at, one.spoke_at) > HEARD_INTERVALS * one.source.longest_interval_s for one in self.siblings
        )

    @property
    def printer_is_heard(self) -> bool:
        return all(
            self.now - max(one.source.alive_at, one.target_at, one.duty_at) <= HEARD_INTERVALS * one.source.longest_interval_s
            for one in self.siblings
        )

    @property
    def warmest_neighbour_c(self) -> float | None:
        warmest_c: float | None = None
        for other in self.neighbours:
            other_c = other.temperature_c
            if other_c is not None and (warmest_c is None or other_c > warmest_c):
                warmest_c = other_c
        return warmest_c

    @property
    def spoken_interval_s(self) -> float:
        return self.interval_s(self.sensor)

    def interval_s(self, sensor: str) -> float:
        """The longest time between two words of a sensor; empty is the controlling one."""
        return self.plan.sensors.get(sensor, self.source.longest_interval_s)

    def take(self, reading: Reading, at: float) -> None:
        """Note what a reading says. Retained temperatures are only shown; a retained target only initialises."""
        _, _, _, temperature_c, target_c, duty, power_w, sensor, target_unknown, retained = reading
        self.now = at
        if sensor:
            self.newest_of[sensor] = reading
        else:
            self.newest = reading
        if retained:
            self.retained_c, temperature_c = temperature_c, None
        self.fresh = temperature_c is not None
        if temperature_c is not None:
            self.sensor, self.spoken_c = sensor, temperature_c
            if sensor:
                self._take_further(sensor, temperature_c, at)
            else:
                self._take_own(temperature_c, at)
            self.hottest_c = self._hottest(at) if self.sensors else temperature_c
        elif target_c is not None and target_c == self.target_c and not retained:
            self._lacks_temperature(at)
        if not retained:
            if duty is not None:
                self.duty, self.duty_at = duty, at
            if power_w is not None:
                self._take_power(power_w, at)
        if target_c is not None or (target_unknown and not retained):
            self._take_target(target_c, at, retained=retained)
        self.is_off = self.target_c <= 0.0 if self.target_c is not None else self.duty is not None and self.duty <= 0.0

    def take_metered(self, printer_power_w: float, at: float) -> None:
        """Note what the meter of the whole printer says."""
        is_first = self.printer_power_w is None
        self.printer_power_w, self.printer_power_at = printer_power_w, at
        self.now, self.fresh = at, False
        if is_first:
            self.look_who_heeds()

    def _take_power(self, power_w: float, at: float) -> None:
        is_first = self.power_w is None
        self.power_w, self.power_at = power_w, at
        if is_first:
            self.look_who_heeds()

    def _take_further(self, sensor: str, temperature_c: float, at: float) -> None:
        is_first = not self.sensors
        self.sensors[sensor] = (temperature_c, at)
        if is_first:
            self.look_who_heeds()

    def _lacks_temperature(self, at: float) -> None:
        """Its words of before had both, and of this one the target is old. One alone may fail."""
        again = self.lacked_at > self.temperature_at
        if again and self.lacking_at <= self.temperature_at:
            self.lacking_at = at
        if again or self.target_at == self.temperature_at:
            self.lacked_at = at

    def _take_own(self, temperature_c: float, at: float) -> None:
        previous_c = self.temperature_c
        if previous_c is None:
            self.low_c = self.high_c = temperature_c
        elif previous_c < temperature_c:
            self.low_c, self.high_c = previous_c, temperature_c
        else:
            self.low_c, self.high_c = temperature_c, previous_c
        if self.high_c < self.coldest_c:
            self.coldest_c = self.high_c  # one wild sample is not cold
        self.previous_c, self.previous_at = previous_c, self.temperature_at
        self.temperature_c, self.temperature_at = temperature_c, at
        self.heard_live = True

    def _take_target(self, target_c: float | None, at: float, *, retained: bool) -> None:
        if retained and self.target_at != NEVER:
            return
        if target_c is None and self.target_c is not None and not self.target_doubted and not self.source.on_change:
            self.target_doubted = True  # a word that fails now and then does not take back what was said before
            return
        self.target_doubted = False
        if target_c != self.target_c:
            self.target_changed_at = at
            if target_c is not None and self.target_c is not None and target_c < self.target_c:
                self.target_lowered_at = at
            self.target_c = target_c
        if not retained:
            self.target_at = at

    def _hottest(self, at: float) -> float | None:
        values = [value for name, (value, heard_at) in self.sensors.items() if heard_at >= at - SENSOR_INTERVALS * self.interval_s(name)]
        if self.temperature_c is not None and self.temperature_at >= at - SENSOR_INTERVALS * self.source.longest_interval_s:
            values.append(self.temperature_c)
        return max(values, default=None)

    def deadline(self) -> float:
        """The nearest deadline of its checks, or of a burst that waits for its judgement."""
        nearest = self.burst.judge_at
        for check in self.timed:
            if check.deadline < nearest:
                nearest = check.deadline
        return nearest
