"""The reading stays above a non-zero target and does not come back."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import INFINITY, NEVER
from watchdog.core.view import TWO_SENSORS_K, HeaterView, is_warmed

EASES, EASES_INTERVALS = 1.1, 0.25
"""Where the second half of a rise takes so many times as long as the first, and this many intervals more, it comes to its end by itself."""

AT_ONCE, HELD_BACK = 0.25, 2
"""So many readings in a row, each within this share of a reporting period of the one before, were held back on the way: when it rose is
not known."""

SITS_SHARE, SITS_TIMES, SITS_STEP_K, SITS_FROM_C, NEIGHBOUR_K = 0.4, 8.0, 1.5, 60.0, 15.0
"""So hot, and above its target by this share of the band, a controller lets nothing sit for this many times `hang_s` without a fall of a
step: half a wave of power does. What is no more than so much hotter than a neighbour may be held there by it."""


HANGS_FROM_C = 45.0
"""What is no warmer may be as cold as its surroundings, and is no harm; a rise counts there as well."""

WEAK, SWING_S = 0.6, 60.0
"""A rise within this time, by less than this share of what full power does, may be what is left of a swing: it must come once more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OvershootLimits:
    """Limits of the overshoot check."""

    band_k: float
    """How far above its target a healthy controller may swing, in kelvin."""

    rise_k: float
    """A further rise, in kelvin, that shows the heater is still being heated."""

    confirm_s: float
    """How long the rise must have lasted without a fall, in seconds."""

    hang_s: float
    """How long the reading may stay above the band without falling at all, in seconds."""

    settle_s: float
    """How long after the target was lowered stored heat may still carry the reading on, in seconds."""

    step_k: float = 0.5
    """The smallest fall, in kelvin, that counts as falling."""


class Overshoot(Check):
    """Cuts when a heater stays above its target by more than `band_k` and is not falling towards it.

    Still rising (`rise_k` above its lowest value up there, for `confirm_s`, and not easing off) is enough; hanging there without a fall
    of `step_k` takes `hang_s`. A target that was just lowered gets `settle_s` before anything counts, and after
    that the reading only has to keep falling. The ringing of a badly tuned loop stays inside the band or turns back; to sit inside the
    band for good is no ringing. A warm chamber may hold a bed above a low target. It says nothing while the target is off (0) or unknown.
    """

    name: ClassVar[str] = "overshoot"
    STATE: ClassVar[tuple[str, ...]] = (
        "_since", "_lowest_c", "_fell_at", "_from_c", "_from_at",
        "_half_at", "_full_at", "_sits_c", "_sits_at", "_was_weak", "_at_once",
    )  # fmt: skip
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: OvershootLimits) -> None:
        super().__init__()
        self.limits = limits
        self._since = NEVER
        self._lowest_c = INFINITY
        self._fell_at = NEVER
        self._from_c = self._sits_c = INFINITY
        self._sits_at = NEVER
        self._from_at = self._half_at = self._full_at = NEVER
        self._was_weak = False
        self._at_once = 0

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c, target_c = view.temperature_c, view.target_c
        if target_c is None or target_c <= 0.0 or temperature_c is None:
            self._since = self._sits_at = NEVER
            return None
        excess_k = temperature_c - target_c
        within = excess_k <= self.limits.band_k
        if within:
            self._since = NEVER
            if excess_k > 0.0:
                self.near(0.8 * excess_k / self.limits.band_k)
            if excess_k <= SITS_SHARE * self.limits.band_k or temperature_c < SITS_FROM_C:
                self._sits_at = NEVER
                return None
        if not view.fresh or view.sensor:
            return None
        at_once = view.now - view.previous_at <= AT_ONCE * (view.period_s or 0.0)
        self._at_once = self._at_once + 1 if at_once else 0
        if within:
            return self._judge_sitting(view, temperature_c, target_c)
        now = view.now
        settling = now - view.target_lowered_at < self.limits.settle_s
        fallen_c = view.high_c  # one wild sample is no fall
        if self._since == NEVER or settling or is_warmed(view, view.low_c, TWO_SENSORS_K):
            self._since = now if self._since == NEVER else self._since
            self._fell(now, fallen_c)
            return None
        if fallen_c <= self._lowest_c - self.limits.step_k:
            self._fell(now, fallen_c)
        return self._judge(view, temperature_c, target_c)

    def _judge_sitting(self, view: HeaterView, temperature_c: float, target_c: float) -> Finding | None:
        """Within the band, but for good: no loop that works lets it sit there."""
        now = view.now
        if self._sits_at == NEVER or is_warmed(view, temperature_c, NEIGHBOUR_K) or view.high_c <= self._sits_c - SITS_STEP_K:
            self._sits_c, self._sits_at = view.high_c, now
            return None
        sits_s, allowed_s = now - self._sits_at, SITS_TIMES * self.limits.hang_s
        self.near(sits_s / allowed_s)
        if not sits_s >= allowed_s:
            return None
        self.headroom = 1.0
        excess_k = temperature_c - target_c
        return Finding(
            "cut",
            f"{view.heater} has sat {excess_k:.1f} K above its target of {target_c:.1f} degC for {sits_s:.0f} s and does not come down",
            {"temperature_c": temperature_c, "target_c": target_c, "excess_k": excess_k, "sits_s": sits_s},
        )

    def _fell(self, now: float, celsius: float) -> None:
        self._lowest_c, self._fell_at = celsius, now
        self._was_weak = False
        self._rise_from(now, celsius)

    def _rise_from(self, now: float, celsius: float) -> None:
        self._from_c, self._from_at = celsius, now
        self._half_at = self._full_at = NEVER

    def _rises_on(self, view: HeaterView) -> bool:
        """By `rise_k`, and without easing off: a loop that swings comes to its top by itself, and then all begins anew."""
        limits, now, low_c = self.limits, view.now, view.low_c
        if self._at_once >= HELD_BACK:
            self._rise_from(now, view.high_c)
        risen_k = low_c - self._from_c
        if self._half_at == NEVER and risen_k >= 0.5 * limits.rise_k:
            self._half_at = now
        if self._full_at == NEVER and risen_k >= limits.rise_k:
            self._full_at = now
            first_s, second_s = self._half_at - self._from_at, now - self._half_at
            if second_s > EASES * first_s + EASES_INTERVALS * view.source.longest_interval_s:
                self._rise_from(now, low_c)
            elif not self._was_weak and _is_weak(view, low_c, limits.rise_k, now - self._from_at):
                self._was_weak = True
                self._rise_from(now, low_c)
        return self._full_at != NEVER and now - self._fell_at >= limits.confirm_s

    def _judge(self, view: HeaterView, temperature_c: float, target_c: float) -> Finding | None:
        limits = self.limits
        unfallen_s = view.now - self._fell_at
        self.near(0.8 + 0.2 * unfallen_s / limits.hang_s)
        risen_k = view.low_c - self._lowest_c  # one wild sample is no rise
        rising = self._rises_on(view)
        speaks_of_a_fall = temperature_c <= self._lowest_c - limits.step_k  # the next word tells
        if not rising and (unfallen_s < limits.hang_s or speaks_of_a_fall or temperature_c <= HANGS_FROM_C):
            return None
        self.headroom = 1.0
        how = f"rose {risen_k:.1f} K more" if rising else "did not fall"
        return Finding(
            "cut",
            f"{view.heater} is {temperature_c - target_c:.1f} K above its target of {target_c:.1f} degC and {how} in {unfallen_s:.0f} s",
            {
                "temperature_c": temperature_c,
                "target_c": target_c,
                "excess_k": temperature_c - target_c,
                "band_k": limits.band_k,
                "risen_k": risen_k,
                "unfallen_s": unfallen_s,
            },
        )


def _is_weak(view: HeaterView, celsius: float, rise_k: float, took_s: float) -> bool:
    return view.expected is not None and took_s < SWING_S and rise_k < WEAK * took_s * view.expected.usual_rise_k_per_s(celsius)
