"""Nothing fresh is heard of a heater that may be heating."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.falling import Falling
from watchdog.core.printer import PROBATION_S
from watchdog.core.second_opinion import SecondOpinion
from watchdog.core.values import INFINITY, NEVER, JsonObject
from watchdog.core.view import TWO_SENSORS_K, HeaterView, is_warmed

NOISES = 2.0
"""A reading may be so many standard deviations of its noise, and half a step of its resolution, warmer than its heater is."""

HEATED, SLOW_K_PER_S = 0.25, 0.01
"""A heater that is heated rises by at least so much of what full power does; one of which nothing is known at least so fast."""


HEATS_UP_K, HEATS_UP_K_PER_S = 10.0, 0.05
"""So far below its target, or rising so fast where none is told, it was heating up: a board that hangs then does harm in a minute."""

LOOKS_S = 5.0
"""So often it is asked whether another heater of the printer is heard again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoReadingsLimits:
    """Limits of the no-readings check."""

    advise_s: float
    """Silence, in seconds, after which readings count as stale and `status` says so."""

    grace_s: float
    """Silence, in seconds, after which the power is cut when heat is asked for; two reporting intervals at least."""

    outage_s: float
    """The same, in seconds, when nothing is heard of any of several heaters: a router that restarts; no shorter than `grace_s`."""

    cold_c: float
    """At or below this, in degrees Celsius, a heater with no target is cold and its silence is no danger."""

    cooling_k_per_s: float = 0.005
    """A fall at least this fast, in kelvin a second, when last heard, is cooling; the slowest heater just above cold falls faster."""


class NoReadings(Check):
    """Cuts when nothing fresh came for `grace_s` while heat was asked for, or while the heater was neither cold nor cooling.

    Where all heaters of a printer fell silent together, a network that comes back is waited for, for `outage_s`, but not for one that
    was heating up; of one heater alone nothing tells.
    Before that, after `advise_s`, it advises. A printer that its owner switches off cold, or warm and cooling, stays an
    advisory; so does one whose board a relay has taken down. Once that relay shows power again, the board gets as long as
    after a reset to be heard, and not longer. A source that reports on change is heard through its proof
    of life. A heater that was never heard since the start is an advisory: a retained target alone asks for nothing.
    Where a further sensor of the heater, on a board of its own, goes on, it may show that a heater that is off cools: it is
    asked again and again for as long as it speaks, and a rise of it cuts.
    It uses raw readings alone; only the question whether the heater was cooling asks the observer, and what it read in the
    minutes before; a heater of which that is unknown was not. Where even the slowest fall would not yet show in its noise, it is
    enough that it surely did not rise.
    """

    name: ClassVar[str] = "no readings"
    STATE: ClassVar[tuple[str, ...]] = ("_advised", "_asked_at", "_excused_at", "_asks_other")
    __slots__ = (*STATE, "_falling", "_other", "limits")

    def __init__(self, limits: NoReadingsLimits) -> None:
        super().__init__()
        self.limits = limits
        self._falling = Falling()
        self._other = SecondOpinion()
        self._advised = self._asks_other = False
        self._asked_at = NEVER  # since when heat is asked for
        self._excused_at = NEVER  # when its silence was last put down to the dark
        self.deadline = float("-inf")  # due at the first chance: the wait begins when the watch does

    def on_reading(self, view: HeaterView) -> Finding | None:
        now, target_c, temperature_c = view.now, view.target_c, view.temperature_c
        if not (view.fresh and not view.sensor):
            heard_at = _heard_at(view)
            if view.fresh and view.spoken_c is not None:
                self._asks_other = True
                self._other.add(view.sensor, now, view.spoken_c)
        else:
            heard_at = now
            if self._asks_other:
                self._asks_other = False
                self._other.forget()
            if temperature_c is not None and view.is_off and temperature_c > self.limits.cold_c:
                self._falling.add(now, view.low_c, view.high_c, on_change=view.source.on_change)
            else:
                self._falling.forget()
        if target_c is None or target_c <= 0.0:
            self._asked_at = NEVER
        elif self._asked_at == NEVER:
            self._asked_at = now
        if now - heard_at < self.limits.advise_s:
            self._advised = False
            self.deadline = heard_at + self.limits.advise_s
        elif self._asked_at == view.now:  # asked for after the verdict on its silence
            self._excused_at = NEVER
            self.deadline = min(self.deadline, view.now + self.limits.grace_s)
        return None

    def on_deadline(self, view: HeaterView) -> Finding | None:
        limits = self.limits
        heard_at = _heard_at(view)
        if view.now < heard_at + limits.advise_s:
            self.deadline = heard_at + limits.advise_s
            return None
        self.near(0.9 * (view.now - heard_at) / limits.grace_s)
        due_at = limits.grace_s + (max(heard_at, self._asked_at) if _heat_is_asked_for(view) else heard_at)
        if view.lit_at > heard_at:
            due_at = max(due_at, view.lit_at + PROBATION_S)
        if view.now < due_at:
            self.deadline = due_at
            return self._advice(view, view.now - heard_at)
        over_at = due_at + limits.outage_s - limits.grace_s
        if view.now < over_at and view.all_are_silent and not _heated_up(view):
            self.deadline = min(over_at, view.now + LOOKS_S)
            return self._advice(view, view.now - heard_at)
        if view.darkened:
            self._excused_at = view.now
        if self._excused_at > max(heard_at, view.lit_at):
            self.deadline = view.now + PROBATION_S  # in time for a board that gets its power back at once
            return self._advice(view, view.now - heard_at)
        self.deadline = INFINITY
        return self._verdict(view, view.now - heard_at)

    def _advice(self, view: HeaterView, silent_s: float) -> Finding | None:
        if self._advised:
            return None
        self._advised = True
        return Finding("advise", f"nothing fresh of {view.heater} for {silent_s:.0f} s", {"silent_s": silent_s})

    def _verdict(self, view: HeaterView, silent_s: float) -> Finding | None:
        temperature_c = view.temperature_c
        if temperature_c is None:
            return self._advice(view, silent_s)
        numbers = {"silent_s": silent_s, "grace_s": self.limits.grace_s, "temperature_c": temperature_c}
        if view.target_c is not None and _heat_is_asked_for(view):
            self.headroom = 1.0
            numbers["target_c"] = view.target_c
            why = f"while its target is {view.target_c:.0f} degC"
            return Finding("cut", f"nothing fresh of {view.heater} for {silent_s:.0f} s {why}", numbers)
        apart_k = NOISES * (view.noise_k or 0.0) + 0.5 * (view.resolution_k or 0.0)
        heard_c = view.low_c  # the last word alone may have been a wild one
        falls_k_per_s = max(-(view.slope_k_per_s() or 0.0), self._falling.rate_k_per_s(heard_c, apart_k))  # a minute, or four
        warmed = is_warmed(view, temperature_c, TWO_SENSORS_K)  # for which the check of its chamber answers
        cold = view.low_c <= self.limits.cold_c + apart_k  # one wild sample is not warm
        if cold or warmed or falls_k_per_s >= self.limits.cooling_k_per_s:
            return self._advice(view, silent_s)
        if view.is_off and self._may_cool(view, heard_c):
            return self._advice(view, silent_s)
        if view.is_off and self._is_seen_by_another(view, silent_s):
            self.deadline = view.now + self.limits.grace_s
            return self._advice(view, silent_s)
        self.headroom = 1.0
        why = f"after {temperature_c:.0f} degC that was not seen to cool"
        return Finding("cut", f"nothing fresh of {view.heater} for {silent_s:.0f} s {why}", numbers)

    def _may_cool(self, view: HeaterView, temperature_c: float) -> bool:
        """Of a thick plate in a warm enclosure, a fall drowns in the noise for minutes."""
        slowest_k_per_s, heated_k_per_s, expected = self.limits.cooling_k_per_s, SLOW_K_PER_S, view.expected
        if expected is not None:
            slowest_k_per_s = min(slowest_k_per_s, expected.slowest_fall_k_per_s(temperature_c))
            heated_k_per_s = HEATED * expected.usual_rise_k_per_s(temperature_c)
        return self._falling.may_fall(slowest_k_per_s, heated_k_per_s, view.resolution_k or 0.0)

    def _is_seen_by_another(self, view: HeaterView, silent_s: float) -> bool:
        other, limits = self._other, self.limits
        return other.vouches(view.now, view.now - silent_s, view.interval_s(other.sensor), limits.cold_c, limits.cooling_k_per_s)

    def snapshot(self) -> JsonObject:
        return super().snapshot() | {"falling": self._falling.snapshot(), "other": self._other.snapshot()}

    def restore(self, saved: JsonObject) -> None:
        super().restore(saved)
        self._falling.restore(saved["falling"])
        self._other.restore(saved["other"])


def _heat_is_asked_for(view: HeaterView) -> bool:
    return view.target_c is not None and not view.target_c <= 0.0


def _heated_up(view: HeaterView) -> bool:
    if view.target_c is None or view.temperature_c is None:
        return (view.slope_k_per_s() or 0.0) > HEATS_UP_K_PER_S
    return view.target_c - view.high_c > HEATS_UP_K


def _heard_at(view: HeaterView) -> float:
    """When the heater was last heard; its source's proof of life counts for a value that is sent only on change."""
    heard_at = max(view.since, view.temperature_at)
    if view.source.on_change and view.temperature_c is not None:
        alive_at = view.source.alive_at
        return max(heard_at, min(alive_at, view.lacking_at) if view.lacking_at > view.temperature_at else alive_at)
    return heard_at
