"""The engine's memory of one heater: newest values with their ages. Checks see it as a HeaterView."""

from watchdog.core.check import Check
from watchdog.core.inputs import Reading
from watchdog.core.observer import Observer
from watchdog.core.plan import HeaterPlan
from watchdog.core.rate import Rate
from watchdog.core.source import Source
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

BURST_SHARE = 0.05
"""Messages closer together than this share of the longest interval, more than `BURST_COUNT` of them, are a burst."""

BURST_COUNT = 8

REPEAT_SHARE, REPEAT_MOST_S = 0.3, 1.0
"""The very same message within this share of the longest interval, or this time, is a message that was delivered twice."""

REPEAT_PERIODS = 0.6
"""And only where it usually comes later than that, in reporting periods."""

FROM_VALUES = Reading._fields.index("temperature_c")

BURST_WINDOW_S = 0.2
"""No healthy source is that fast, however long its silences may last."""

SLOPE_INTERVALS, SLOPE_WINDOW_S = 6.0, 60.0
"""The slope is taken over this time, or over so many reporting intervals of a slow source."""

HEARD_INTERVALS = 2.5
"""What a source said last is no longer known to hold after so many intervals of silence."""

SENSOR_INTERVALS = 5.0
"""A further sensor that was silent for so many intervals no longer counts towards the hottest."""


class Heater:
    """One heater. Implements HeaterView; only the engine writes to it."""

    STATE = (
        "now", "since", "temperature_c", "temperature_at", "previous_c", "previous_at", "hottest_c", "target_c", "target_at",
        "target_changed_at", "target_lowered_at", "duty", "duty_at", "power_w", "power_at", "printer_power_w", "printer_power_at",
        "latched", "readings", "unusable", "ignored",
        "burst_from", "burst_count", "burst_told_at", "evaluate_at", "heard_live", "observer_failed", "silent_told", "darkened",
        "sensor", "spoken_c", "retained_c", "lit_at",
    )  # fmt: skip

    # Slots: with more than thirty attributes, instances no longer share their keys, and each look-up takes another cache line.
    __slots__ = (
        *STATE, "printer", "heater", "plan", "source", "observer", "rate", "checks", "broken", "told", "sensors", "order",
        "scheduled_at", "burst_window_s", "newest", "fresh", "neighbours", "siblings", "repeat_s", "expected",
    )  # fmt: skip

    def __init__(self, printer: str, plan: HeaterPlan, source: Source, at: float) -> None:
        self.printer, self.heater, self.plan, self.source = printer, plan.name, plan, source
        self.expected = plan.expected
        self.observer = Observer(max(SLOPE_WINDOW_S, SLOPE_INTERVALS * source.longest_interval_s))
        self.rate = Rate()
        self.checks: list[Check] = plan.checks()
        self.broken: dict[str, str] = {}  # checks that raised, and their errors
        self.told: dict[str, float] = {}  # when a check was last quoted that does not cut
        self.sensors: dict[str, tuple[float, float]] = {}
        self.siblings: tuple[Heater, ...] = (self,)  # all heaters of the printer
        self.neighbours: tuple[Heater, ...] = ()  # other heaters of the printer that can warm this one
        self.order = 0
        self.scheduled_at = INFINITY
        self.burst_window_s = min(BURST_SHARE * source.longest_interval_s, BURST_WINDOW_S)
        self.repeat_s = min(REPEAT_SHARE * source.longest_interval_s, REPEAT_MOST_S)
        self.burst_told_at = NEVER
        self.darkened = self.latched = False
        self.lit_at = NEVER
        self.readings = self.unusable = self.ignored = 0
        self.forget(at)

    def forget(self, at: float) -> None:
        """Begin to watch anew at `at`: nothing heard before counts as fresh. Targets are forgotten too."""
        self.now = self.since = at
        self.newest: Reading | None = None
        self.sensor = ""
        self.spoken_c: float | None = None
        self.temperature_c: float | None = None
        self.temperature_at = NEVER
        self.previous_c: float | None = None
        self.previous_at = NEVER
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
        self.burst_from, self.burst_count = NEVER, 0
        self.evaluate_at = INFINITY  # a burst waits for its judgement until then
        self.sensors.clear()
        self.observer.clear()
        self.checks = self.plan.checks()
        self.broken.clear()
        self.told.clear()

    @property
    def period_s(self) -> float | None:
        return None if self.observer_failed else self.observer.period_s

    @property
    def noise_k(self) -> float | None:
        return None if self.observer_failed else self.observer.roughness.noise_k

    @property
    def resolution_k(self) -> float | None:
        return None if self.observer_failed else self.observer.roughness.resolution_k

    @property
    def is_off(self) -> bool:
        return self.target_c <= 0.0 if self.target_c is not None else self.duty is not None and self.duty <= 0.0

    @property
    def printer_is_off(self) -> bool:
        return all(heater.is_off for heater in self.siblings)

    @property
    def printer_is_heard(self) -> bool:
        return all(
            self.now - max(one.source.alive_at, one.target_at, one.duty_at) <= HEARD_INTERVALS * one.source.longest_interval_s
            for one in self.siblings
        )

    @property
    def warmest_neighbour_c(self) -> float | None:
        return max((other.temperature_c for other in self.neighbours if other.temperature_c is not None), default=None)

    def slope_k_per_s(self) -> float | None:
        if self.observer_failed:
            return None
        try:
            return self.observer.slope_k_per_s()
        except Exception:  # noqa: BLE001 - a check that asks must not fall with the observer
            self.observer_failed = True
            return None

    @property
    def spoken_interval_s(self) -> float:
        return self.interval_s(self.sensor)

    def interval_s(self, sensor: str) -> float:
        """The longest time between two words of a sensor; empty is the controlling one."""
        return self.plan.sensors.get(sensor, self.source.longest_interval_s)

    def is_news(self, reading: Reading) -> bool:
        """False for what is older than, or the very same as, what was heard last: no new evidence."""
        newest = self.newest
        if newest is None:
            return True
        later_s = reading.at - newest.at
        if later_s > self.repeat_s:
            return True
        if later_s > 0.0:
            period_s = self.period_s
            if period_s is None or later_s > REPEAT_PERIODS * period_s:
                return True
        return later_s >= 0.0 and reading[FROM_VALUES:] != newest[FROM_VALUES:]

    def take(self, reading: Reading, at: float) -> None:
        """Note what a reading says. Retained temperatures are only shown; a retained target only initialises."""
        self.now = at
        self.newest = reading
        temperature_c = reading.temperature_c
        if reading.retained:
            self.retained_c, temperature_c = temperature_c, None
        self.fresh = temperature_c is not None
        if temperature_c is not None:
            self.sensor, self.spoken_c = reading.sensor, temperature_c
            if reading.sensor:
                self.sensors[reading.sensor] = (temperature_c, at)
            else:
                self.previous_c, self.previous_at = self.temperature_c, self.temperature_at
                self.temperature_c, self.temperature_at = temperature_c, at
                self.heard_live = True
            self.hottest_c = self._hottest(at) if self.sensors else temperature_c
        if reading.target_c is not None:
            self._take_target(reading.target_c, at, retained=reading.retained)
        elif reading.target_unknown and not reading.retained:
            self._take_target(None, at, retained=False)
        if not reading.retained:
            if reading.duty is not None:
                self.duty, self.duty_at = reading.duty, at
            if reading.power_w is not None:
                self.power_w, self.power_at = reading.power_w, at

    def _take_target(self, target_c: float | None, at: float, *, retained: bool) -> None:
        if retained and self.target_at != NEVER:
            return
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

    def in_burst(self, at: float) -> bool:
        """Count messages that come far faster than the source can report; True while they are a burst."""
        if at - self.burst_from > self.burst_window_s:
            self.burst_from, self.burst_count = at, 1
            return False
        self.burst_count += 1
        return self.burst_count > BURST_COUNT

    def deadline(self) -> float:
        """The nearest deadline of its checks, or of a burst that waits for its judgement."""
        nearest = self.evaluate_at
        for check in self.checks:
            if check.deadline < nearest:  # noqa: PLR1730 - on the path of each reading
                nearest = check.deadline
        return nearest

    def snapshot(self) -> JsonObject:
        """Its whole memory."""
        return {
            "values": {key: to_plain(getattr(self, key)) for key in self.STATE},
            "newest": None if self.newest is None else list(self.newest),
            "sensors": {name: [value, at] for name, (value, at) in self.sensors.items()},
            "observer": self.observer.snapshot(),
            "rate": self.rate.snapshot(),
            "checks": {check.name: check.snapshot() for check in self.checks},
            "broken": dict(self.broken),
            "told": dict(self.told),
        }

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot`; checks it does not name begin anew."""
        for key in self.STATE:
            setattr(self, key, from_plain(saved["values"][key]))
        self.newest = None if saved["newest"] is None else Reading(*saved["newest"])
        self.sensors = {name: (value, at) for name, (value, at) in saved["sensors"].items()}
        self.observer.restore(saved["observer"])
        self.rate.restore(saved["rate"])
        for check in self.checks:
            if check.name in saved["checks"]:
                check.restore(saved["checks"][check.name])
        self.broken, self.told = dict(saved["broken"]), dict(saved["told"])
