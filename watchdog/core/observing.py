"""A printer, or single checks of its heaters, that only observe: for a bounded number of heating hours, never for good."""

from typing import ClassVar

from watchdog.core.plan import PrinterPlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

ALWAYS_ARMED = ("ceiling", "out of range")
"""Checks that cut whatever is observed or bypassed."""

HOT_C = 50.0
"""Above this a heater counts as heating, whatever it is asked for."""

HOUR_S = 3600.0

Key = tuple[str, str]
"""A heater and one of its checks, by name."""

WHOLE: Key = ("", "")
"""In place of a key: all checks of all heaters."""


class Observing:
    """How much heating time is left until a printer and its checks are armed. Only time during which something heats counts.

    All values are seconds. Time counts from `since` on while `heating`; what is over is taken out by `over`.
    """

    STATE: ClassVar[tuple[str, ...]] = ("since", "heating")

    def __init__(self, plan: PrinterPlan) -> None:
        named = {(heater.name, check): seconds for heater in plan.heaters for check, seconds in heater.observe_s.items()}
        self.allowed_s: dict[Key, float] = {key: seconds for key, seconds in ({WHOLE: plan.observe_s} | named).items() if seconds > 0.0}
        self.left_s = dict(self.allowed_s)
        self.heating = False
        self.since = NEVER

    def covers(self, heater: str, check: str) -> bool:
        """True while a cut of this check is only told."""
        return WHOLE in self.left_s or (heater, check) in self.left_s

    def deadline(self) -> float:
        """When the next of them is over if it heats on."""
        if not self.left_s:
            return INFINITY
        nearest_s = min(self.left_s.values())
        if nearest_s <= 0.0:  # found out after a gap, during which no deadline was run
            return self.since
        return self.since + nearest_s if self.heating else INFINITY

    def heats(self, at: float, *, heating: bool) -> None:
        """From `at` on something heats, or nothing does."""
        self._settle(at)
        self.heating = heating

    def over(self, at: float) -> list[Key]:
        """Take out those that have nothing left at `at`."""
        found = [key for key, left_s in self.left_s.items() if left_s <= 0.0 or (self.heating and self.since + left_s <= at)]
        self._settle(at)
        for key in found:
            del self.left_s[key]
        return found

    def left_at(self, at: float) -> dict[Key, float]:
        """What is left of each at `at`."""
        gone_s = at - self.since if self.heating else 0.0
        return {key: max(left_s - gone_s, 0.0) for key, left_s in self.left_s.items()}

    def used_at(self, at: float) -> dict[Key, float]:
        """What has been used of each at `at`; of those that are over, all of it."""
        left = self.left_at(at)
        return {key: allowed_s - left.get(key, 0.0) for key, allowed_s in self.allowed_s.items()}

    def use_up(self, key: Key, seconds: float) -> None:
        """So much was used before the guard started."""
        left_s = self.allowed_s[key] - seconds
        if left_s > 0.0:
            self.left_s[key] = left_s
        else:
            self.left_s.pop(key, None)

    def _settle(self, at: float) -> None:
        self.left_s, self.since = self.left_at(at), at

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE} | {"left_s": [[*key, left] for key, left in self.left_s.items()]}

    def restore(self, saved: JsonObject) -> None:
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
        self.left_s = {(heater, check): left_s for heater, check, left_s in saved["left_s"]}
