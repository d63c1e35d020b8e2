"""Much heat is asked for, and the reading does not rise."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import NEVER, JsonObject
from watchdog.core.view import Expected, HeaterView, says_the_same
from watchdog.thermal.arrears import Arrears
from watchdog.thermal.hold import COLD_K, Hold

JUMP_S = 10.0
"""A fall within less is the jump of a bad wire, and the matter of other checks."""

LATE_INTERVALS = 2.5
"""A duty, or a reading, that is older than so many reporting intervals says nothing about now."""

SOFT_K = 15.0
"""Where no duty is told, full heat is taken for granted from so far beyond `gap_k` on, below that in proportion: controllers ease off."""

HALF = 0.5
"""What holds its own in a draft at half of its power is not cooled by one."""

NEARLY, BOTH = 0.7, 1.2
"""A held target that is nearly lost, and a debt beside it: shares of what either allows, which together are too much."""

AT_TARGET_K, AT_TARGET_SHARE = 3.0, 0.7
"""So near its target, no more than this share of its duty counts: all that decides there is its loss, of which facts tell the least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoResponseLimits:
    """Limits of the no-response check."""

    gap_k: float
    """Much heat is asked for when the reading is this far below its target, in kelvin."""

    duty: float
    """And when the duty, where it is told, is at least this share of full power."""

    below_c: float
    """Above this, in degrees Celsius, a weak heater may rise too slowly to judge by its class alone."""

    rise_k: float
    """The rise, in kelvin, that the weakest heater of its class makes in `within_s`."""

    within_s: float
    """Within this time, in seconds, it must rise by `rise_k`."""

    draft_k_per_s: float
    """The fastest fall, in kelvin a second, that a draft or a fan causes in spite of full heat."""

    fall_k: float
    """A fall beyond that, in kelvin, that no cold plate, wet cloth or wrench causes in spite of full heat."""

    cold_share: float
    """Below a target that it held, something cold takes no more than this share of its excess over the room, 0 to 1."""

    lag_s: float
    """How long after heat was first asked for the reading may lag behind what its physics demand, in seconds."""

    behind_k: float
    """How far, in kelvin, the reading may stay behind the slowest rise that its physics allow, beside a fall of up to `fall_k`."""


class NoResponse(Check):
    """Cuts when full or heavy heating is asked for and the reading does not rise as any heater of its class must, or falls far.

    A sensor that came loose, a broken heater, a switch that fails open: the controller goes on asking. A rise that is too slow is
    judged only well below the target and where even a weak bed still rises. A fall is judged wherever much heat is asked for: a
    draft makes it slow, a cold plate, a wet cloth or a wrench make it small, a sensor that lost its seat makes it fast and large.
    A target that was held and is asked for still may not be lost by more than something cold takes away. Where facts are known, the
    reading may not stay `behind_k` behind the slowest rise that they allow at the duty told; a fall by something cold counts once.
    """

    name: ClassVar[str] = "no response"
    STATE: ClassVar[tuple[str, ...]] = (
        "_mark_c", "_mark_at", "_top_c", "_top_at", "_from_c",
        "_from_at", "_deep_since", "_peak_c", "_dip_k", "_owed_share",
    )  # fmt: skip
    __slots__ = (*STATE, "limits", "_arrears", "_hold")

    def __init__(self, limits: NoResponseLimits) -> None:
        super().__init__()
        self.limits = limits
        self._mark_c = self._top_c = self._from_c = 0.0
        self._mark_at = self._top_at = self._from_at = NEVER
        self._arrears, self._hold = Arrears(), Hold()
        self._deep_since = NEVER
        self._peak_c = self._dip_k = self._owed_share = 0.0

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if temperature_c is None:
            return None
        if not view.fresh or view.sensor:
            return self._judge_what_stands(view, temperature_c) if says_the_same(view) else None
        found = None if view.expected is None else self._judge_physics(view, view.expected, temperature_c)
        if found is not None or (found := self._judge_hold(view)) is not None:
            return found
        if not self._much_is_asked(view, temperature_c):
            self._mark_at = self._top_at = NEVER
            return None
        low_c, high_c = view.low_c, view.high_c
        if temperature_c > self.limits.below_c or view.expected is not None:  # its own physics know better than its class
            self._mark_at = NEVER
            return self._judge_fall(view, low_c, high_c)
        return self._judge_fall(view, low_c, high_c) or self._judge_rise(view, low_c, high_c)

    def _judge_what_stands(self, view: HeaterView, temperature_c: float) -> Finding | None:
        """A proof of life, and no new reading: it has not moved."""
        much = view.target_c is not None and view.target_c - temperature_c >= self.limits.gap_k
        return self._judge_physics(view, view.expected, temperature_c) if much and view.expected is not None else None

    def _judge_physics(self, view: HeaterView, expected: Expected, temperature_c: float) -> Finding | None:
        """Whatever its duty, the reading may not fall far behind the weakest and heaviest heater that fits its facts."""
        target_c, now, limits = view.target_c, view.now, self.limits
        longest_s = LATE_INTERVALS * view.source.longest_interval_s
        on_change = view.source.on_change
        told = view.duty is not None and now - view.duty_at <= (0.0 if on_change else longest_s)
        heard_at = max(self._arrears.heard_at, view.previous_at) if on_change else view.previous_at
        asks = target_c is not None and target_c > 0.0 and now - heard_at <= longest_s
        if target_c is None or not asks or not (told or target_c - temperature_c >= limits.gap_k):
            self._deep_since, self._owed_share = NEVER, 0.0
            self._arrears.clear()
            return None
        duty = self._duty(target_c - temperature_c, view.duty if told else None)
        behind_k = self._arrears.add(now, temperature_c, duty, expected, limits.lag_s)
        allowed_k = limits.behind_k + min(self._dip(view, behind_k), limits.fall_k)
        self._owed_share = behind_k / allowed_k
        self.near(self._owed_share)
        if not behind_k >= allowed_k:
            self._deep_since = NEVER
            return None
        if self._deep_since == NEVER:
            self._deep_since = now
        stands = not view.fresh or temperature_c == view.previous_c
        if now - (min(self._deep_since, heard_at) if stands else self._deep_since) < JUMP_S:
            return None
        self.headroom = 1.0
        risen_k, took_s = temperature_c - self._arrears.since_c, now - self._arrears.since
        moved = f"rose only {risen_k:.1f} K" if risen_k >= 0.0 else f"fell {-risen_k:.1f} K"
        return Finding(
            "cut",
            f"{view.heater} is asked for {target_c:.0f} degC, yet {moved} in {took_s:.0f} s (now {temperature_c:.1f}): "
            f"even the slowest heater of its facts would be {behind_k:.1f} K warmer",
            {"temperature_c": temperature_c, "behind_k": behind_k, "risen_k": risen_k, "took_s": took_s, "allowed_k": allowed_k},
        )

    def _duty(self, gap_k: float, told: float | None) -> float:
        """How much heat is asked for at least, 0 to 1."""
        if told is None:
            return min(1.0, gap_k / (self.limits.gap_k + SOFT_K))
        return told if gap_k >= AT_TARGET_K else AT_TARGET_SHARE * told

    def _dip(self, view: HeaterView, behind_k: float) -> float:
        """How far it fell since it was last not behind; one wild sample is neither a peak nor a fall."""
        low_c = view.low_c
        if behind_k <= 0.0:
            self._peak_c, self._dip_k = low_c, 0.0
        elif low_c > self._peak_c:
            self._peak_c = low_c
        dip_k = self._peak_c - view.high_c
        if dip_k > self._dip_k:
            self._dip_k = dip_k
        return self._dip_k

    def _judge_hold(self, view: HeaterView) -> Finding | None:
        """Without duty and without facts: it was there, it is asked to be there, and it is far away."""
        target_c, high_c, hold, now, limits = view.target_c, view.high_c, self._hold, view.now, self.limits
        longest_s = LATE_INTERVALS * view.source.longest_interval_s
        if target_c is None or target_c <= 0.0 or now - view.previous_at > longest_s:
            hold.forget()
            return None
        hold.follow(now, target_c, view.low_c, view.duty if now - view.duty_at <= longest_s else None)
        below_k, lost_s = target_c - high_c, now - hold.held_at
        if below_k < COLD_K or hold.held_at == NEVER or (view.duty is not None and view.duty < limits.duty):
            return None
        strong = view.expected is not None and view.expected.slowest_rise_k_per_s(high_c, HALF) > 0.0
        allowed_k = hold.allowed_k(now, limits.cold_share, 0.0 if strong else limits.draft_k_per_s)
        share = below_k / allowed_k
        self.near(share)
        lost = share >= 1.0 or (share >= NEARLY and share + self._owed_share >= BOTH)
        if not (lost and lost_s >= JUMP_S):
            return None
        self.headroom = 1.0
        owed = "" if share >= 1.0 else f", and {self._owed_share:.0%} of what its facts allow is owed beside that"
        return Finding(
            "cut",
            f"{view.heater} held {target_c:.0f} degC, is asked for it still, yet fell {below_k:.1f} K below in {lost_s:.0f} s; "
            f"nothing cold that touches it takes more than {allowed_k:.1f} K{owed}",
            {"temperature_c": high_c, "below_k": below_k, "lost_s": lost_s, "allowed_k": allowed_k, "owed_share": self._owed_share},
        )

    def _judge_fall(self, view: HeaterView, low_c: float, high_c: float) -> Finding | None:
        """A top line follows the reading up at once and down only as fast as a draft."""
        now, limits = view.now, self.limits
        begins = self._top_at == NEVER
        if not begins:
            self._top_c -= limits.draft_k_per_s * (now - self._top_at)
        self._top_at = now
        if begins or low_c >= self._top_c:
            self._top_c = self._from_c = low_c
            self._from_at = now
            return None
        beyond_k, fallen_k, took_s = self._top_c - high_c, self._from_c - high_c, now - self._from_at
        self.near(beyond_k / limits.fall_k)
        if not (beyond_k >= limits.fall_k and took_s >= JUMP_S):
            return None
        self.headroom = 1.0
        return Finding(
            "cut",
            f"{view.heater} is asked for {view.target_c:.0f} degC, yet fell {fallen_k:.1f} K in {took_s:.0f} s (now {high_c:.1f})",
            {"temperature_c": high_c, "fallen_k": fallen_k, "took_s": took_s, "fall_k": limits.fall_k},
        )

    def _judge_rise(self, view: HeaterView, low_c: float, high_c: float) -> Finding | None:
        """A mark follows a rise by `rise_k`, and begins to wait anew; it follows a fall, and waits on."""
        now, limits = view.now, self.limits
        if self._mark_at == NEVER or low_c >= self._mark_c + limits.rise_k:
            self._mark_c, self._mark_at = low_c, now
            return None
        self._mark_c = min(self._mark_c, high_c)
        waited_s, risen_k = now - self._mark_at, high_c - self._mark_c
        self.near(waited_s / limits.within_s)
        if not waited_s >= limits.within_s:
            return None
        self.headroom = 1.0
        return Finding(
            "cut",
            f"{view.heater} is asked for {view.target_c:.0f} degC, yet rose only {risen_k:.1f} K in {waited_s:.0f} s (now {high_c:.1f})",
            {"temperature_c": high_c, "risen_k": risen_k, "waited_s": waited_s, "rise_k": limits.rise_k},
        )

    def _much_is_asked(self, view: HeaterView, temperature_c: float) -> bool:
        target_c, limits = view.target_c, self.limits
        asked = target_c is not None and target_c > 0.0 and target_c - temperature_c >= limits.gap_k
        return asked and (view.duty is None or view.duty >= limits.duty)

    def snapshot(self) -> JsonObject:
        return super().snapshot() | {"arrears": self._arrears.snapshot(), "hold": self._hold.snapshot()}

    def restore(self, saved: JsonObject) -> None:
        super().restore(saved)
        self._arrears.restore(saved["arrears"])
        self._hold.restore(saved["hold"])
