"""The reading rises although no heat is asked for."""

from dataclasses import dataclass
from typing import ClassVar

from watchdog.core.check import Check, Finding
from watchdog.core.values import NEVER
from watchdog.core.view import HeaterView

WILD_K = 25.0
"""No heater rises so far from one reading to the next: a third reading must say so too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnheatedRiseLimits:
    """Limits of the unheated-rise check."""

    passive_k_per_s: float
    """The fastest rise that sun, a neighbour or a warm room can cause, in kelvin a second."""

    rise_k: float
    """How far, in kelvin, the reading must have risen beyond that."""

    settle_s: float
    """How long after heat was last asked for stored heat may still carry the reading on, in seconds."""

    above_k: float
    """A reading this far above a non-zero target asks for no heat either, in kelvin."""

    neighbour_s: float
    """The shortest time constant, in seconds, with which a hotter neighbour can warm this heater."""


class UnheatedRise(Check):
    """Cuts when a heater rises faster than any passive cause allows while its target is off, or while it is far above its target.

    A base line follows the reading down at once and up only at the passive rate (sun, a warm room, hotter neighbours); a
    reading `rise_k` above it is being heated. Heat stored in a thick plate gets `settle_s` after switch-off. A target that is
    unknown is never off, unless the source says that the duty is 0. A wild sample moves neither line nor verdict.
    """

    name: ClassVar[str] = "unheated rise"
    STATE: ClassVar[tuple[str, ...]] = ("_quiet_since", "_base_c", "_base_at", "_from_c", "_from_at", "_last_c", "_before_c")
    __slots__ = (*STATE, "limits")

    def __init__(self, limits: UnheatedRiseLimits) -> None:
        super().__init__()
        self.limits = limits
        self._quiet_since = NEVER
        self._base_c = 0.0
        self._base_at = NEVER
        self._from_c = 0.0
        self._from_at = NEVER
        self._last_c = self._before_c = 0.0

    def on_reading(self, view: HeaterView) -> Finding | None:
        temperature_c = view.temperature_c
        if temperature_c is None:
            return None
        target_c = view.target_c
        if not view.is_off and (target_c is None or temperature_c <= target_c + self.limits.above_k):
            self._quiet_since = NEVER
            return None
        if not view.fresh or view.sensor:
            return None
        now = view.now
        low_c, high_c = view.low_c, view.high_c
        if self._quiet_since == NEVER:
            self._quiet_since = now
            self._last_c = self._before_c = high_c
        third_c = self._before_c
        if third_c > high_c:  # two wild samples in a row are no fall
            high_c = third_c
        if low_c - third_c > WILD_K:  # nor a rise
            low_c = third_c
        self._before_c, self._last_c = self._last_c, temperature_c
        if now - self._quiet_since >= self.limits.settle_s:
            self._base_c += self._passive(view, temperature_c) * (now - self._base_at)
            self._base_at = now
            if high_c > self._base_c:
                return self._judge(view, low_c)
        self._base_c = self._from_c = high_c
        self._base_at = self._from_at = now
        return None

    def _passive(self, view: HeaterView, temperature_c: float) -> float:
        neighbour_c = view.warmest_neighbour_c
        if neighbour_c is None or neighbour_c <= temperature_c:
            return self.limits.passive_k_per_s
        return self.limits.passive_k_per_s + (neighbour_c - temperature_c) / self.limits.neighbour_s

    def _judge(self, view: HeaterView, low_c: float) -> Finding | None:
        beyond_k = low_c - self._base_c
        self.near(beyond_k / self.limits.rise_k)
        if not beyond_k >= self.limits.rise_k:
            return None
        self.headroom = 1.0
        risen_k, took_s = low_c - self._from_c, view.now - self._from_at
        passive_k = risen_k - beyond_k
        target = "its target is off" if not view.target_c else f"it is far above its target of {view.target_c:.0f} degC"
        return Finding(
            "cut",
            f"{view.heater} has risen {risen_k:.1f} K in {took_s:.0f} s while {target}; nothing passive can do more than {passive_k:.1f} K",
            {"temperature_c": low_c, "risen_k": risen_k, "took_s": took_s, "passive_k": passive_k, "rise_k": self.limits.rise_k},
        )
