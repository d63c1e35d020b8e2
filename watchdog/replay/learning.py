"""Limits from recordings of healthy work: only tighter ones, and only where there is enough to go by.

Two things are learnt of a heater. How far it swings above a target that it holds; and the most its printer draws while nothing asks for
heat. One wild sample teaches nothing: of two readings in a row the lower one counts.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import ceil

from watchdog.core.inputs import Reading
from watchdog.settings.learnt import fingerprint
from watchdog.settings.limits import resolve
from watchdog.settings.model import Heater, Learnt

LEAST_HOURS, LEAST_HEAT_UPS = 2.0, 3
"""Of less than this nothing is learnt about swings."""

HEAT_UP_K = 10.0
"""A target that is raised by less makes no heat-up."""

LEAST_OFF_S, LEAST_OFF_REPORTS = 1800.0, 30
"""Of less than this nothing is learnt about what a printer draws."""

SETTLED_S = 180.0
"""After anything was asked for, a meter and stored heat may go on so long."""

GAP_S = 60.0
"""Longer silences are no hours of work."""

SWING_TIMES, SWING_MORE_K, LEAST_BAND_K = 1.5, 3.0, {"bed": 8.0, "hotend": 12.0, "chamber": 8.0}
POWER_TIMES, POWER_MORE_W, LEAST_ABOVE_W = 1.3, 10.0, 25.0
"""The widest and the most that was seen, so many times, and so much more; and never less than the last one."""

HOUR_S = 3600.0


@dataclass(slots=True)
class Evidence:
    """What the recordings of one heater show. Seconds, kelvin."""

    watched_s: float = 0.0
    heat_ups: int = 0
    widest_k: float = 0.0
    _last_at: float | None = None
    _last_c: float = 0.0
    _target_c: float = 0.0
    _from_below: bool = False

    def add(self, reading: Reading) -> None:
        """Take a reading of its controlling sensor."""
        if reading.target_c is not None and reading.target_c != self._target_c:
            self._target_c, self._from_below = reading.target_c, False
        temperature_c = reading.temperature_c
        if temperature_c is None or reading.sensor:
            return
        if self._last_at is not None and reading.at - self._last_at <= GAP_S:
            self.watched_s += reading.at - self._last_at
        low_c = min(temperature_c, self._last_c)
        self._last_at, self._last_c = reading.at, temperature_c
        if self._target_c <= 0.0:
            return
        if not self._from_below and temperature_c < self._target_c:  # what comes from above has not swung yet
            self._from_below = True
            self.heat_ups += temperature_c < self._target_c - HEAT_UP_K
        if self._from_below:
            self.widest_k = max(self.widest_k, low_c - self._target_c)

    def new_log(self) -> None:
        """What comes next is another recording."""
        self._last_at, self._target_c, self._from_below = None, 0.0, False


@dataclass(slots=True)
class Idle:
    """What a printer draws while nothing asks for heat. Seconds, watts."""

    off_s: float = 0.0
    reports: int = 0
    most_w: float = 0.0
    _asked: dict[str, float] = field(default_factory=dict)
    _quiet_since: float | None = None
    _last_at: float | None = None
    _last_w: float = 0.0

    def add(self, reading: Reading) -> None:
        """Take any reading of the printer."""
        if reading.heater:
            if reading.target_c is not None:
                self._asked[reading.heater] = reading.target_c
            return
        if reading.power_w is None:
            return
        quiet = bool(self._asked) and all(target_c <= 0.0 for target_c in self._asked.values())
        self._quiet_since = (reading.at if self._quiet_since is None else self._quiet_since) if quiet else None
        last_at, last_w = self._last_at, self._last_w
        self._last_at, self._last_w = reading.at, reading.power_w
        if self._quiet_since is None or reading.at - self._quiet_since < SETTLED_S or last_at is None:
            return
        self.off_s += min(reading.at - last_at, GAP_S)
        self.reports += 1
        self.most_w = max(self.most_w, min(reading.power_w, last_w))

    def new_log(self) -> None:
        """What comes next is another recording."""
        self._asked.clear()
        self._quiet_since = self._last_at = None


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one heater has taught: nothing in `learnt` where there was too little, and why in `remarks`."""

    learnt: Learnt | None
    remarks: tuple[str, ...]


class Learning:
    """All heaters of one printer."""

    def __init__(self, heaters: Iterable[str]) -> None:
        self.evidence = {name: Evidence() for name in heaters}
        self.idle = Idle()

    def take(self, readings: Iterable[Reading], printer: str) -> None:
        """One whole recording."""
        self.idle.new_log()
        for one in self.evidence.values():
            one.new_log()
        for reading in readings:
            if reading.printer != printer:
                continue
            self.idle.add(reading)
            if reading.heater in self.evidence:
                self.evidence[reading.heater].add(reading)

    def lesson(self, name: str, heater: Heater) -> Lesson:
        """The limits of one heater that come out tighter than without recordings."""
        usual = {(limit.check, limit.key): limit.value for limit in resolve(replace(heater, learnt=None))}
        seen, idle = self.evidence[name], self.idle
        hours = seen.watched_s / HOUR_S
        limits: dict[str, dict[str, float]] = {}
        remarks = []
        if hours >= LEAST_HOURS and seen.heat_ups >= LEAST_HEAT_UPS:
            band_k = max(LEAST_BAND_K[heater.kind], _up(SWING_TIMES * seen.widest_k + SWING_MORE_K, 0.5))
            remarks.append(f"it swung by {seen.widest_k:.1f} K above its targets in {seen.heat_ups} heat-ups")
            if band_k < usual["overshoot", "band_k"]:
                limits["overshoot"] = {"band_k": band_k}
        else:
            remarks.append(
                f"too little to learn how far it swings: {hours:.1f} h and {seen.heat_ups} heat-ups, "
                f"at least {LEAST_HOURS:g} h and {LEAST_HEAT_UPS} are needed"
            )
        if idle.off_s >= LEAST_OFF_S and idle.reports >= LEAST_OFF_REPORTS:
            above_w = max(LEAST_ABOVE_W, _up(POWER_TIMES * idle.most_w + POWER_MORE_W, 1.0))
            remarks.append(f"its printer drew up to {idle.most_w:.0f} W in {idle.off_s / HOUR_S:.1f} h in which nothing asked for heat")
            if above_w < usual["power while off", "above_w"]:
                limits["power_while_off"] = {"above_w": above_w}
        elif idle.reports:
            remarks.append(
                f"too little to learn what its printer draws while off: {idle.off_s:.0f} s, at least {LEAST_OFF_S:.0f} are needed"
            )
        learnt = Learnt(fingerprint=fingerprint(heater), hours=round(hours, 1), limits=limits) if limits else None
        return Lesson(learnt, tuple(remarks))


def _up(value: float, step: float) -> float:
    return ceil(value / step) * step
