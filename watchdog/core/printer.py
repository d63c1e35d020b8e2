"""The engine's memory of one printer: its heaters, its latch, its probation after a reset."""

from typing import ClassVar, Literal

from watchdog.core.bypassing import Bypasses
from watchdog.core.heater import Heater
from watchdog.core.latch import Latch
from watchdog.core.observing import Key, Observing
from watchdog.core.plan import PrinterPlan
from watchdog.core.values import INFINITY, NEVER, JsonObject, from_plain, to_plain

PROBATION_S = 120.0
"""After a reset without readings: so long after power comes back healthy readings must flow."""

Probation = Literal["none", "waiting", "running"]


class Printer:
    """One printer. `deadline` is that of its probation, of what only observes, and of its bypasses."""

    STATE: ClassVar[tuple[str, ...]] = ("probation", "probation_by", "power_w", "power_at")

    def __init__(self, plan: PrinterPlan, heaters: list[Heater], order: int) -> None:
        self.plan, self.heaters, self.order = plan, heaters, order
        self.scheduled_at = INFINITY
        self.latch: Latch | None = None
        self.also: set[tuple[str, str]] = set()  # further findings of a standing trip, each told once
        self.power_w: float | None = None
        self.power_at = NEVER
        self.probation: Probation = "none"
        self.probation_by = INFINITY
        self.observing = Observing(plan)
        self.bypasses = Bypasses()
        self.withheld: dict[Key, float] = {}  # when a cut was last found and not made

    @property
    def name(self) -> str:
        return self.plan.name

    @property
    def relays(self) -> tuple[str, ...]:
        """Every relay that may cut something of this printer."""
        own = tuple(name for heater in self.heaters for name in heater.plan.relays)
        return tuple(dict.fromkeys(own + self.plan.relays))

    def deadline(self) -> float:
        return min(self.probation_by, self.observing.deadline(), self.bypasses.deadline())

    def set_latch(self, latch: Latch | None) -> None:
        """Latch or release; heaters know it too."""
        self.latch = latch
        self.also.clear()
        self.probation, self.probation_by = "none", INFINITY
        for heater in self.heaters:
            heater.latched = latch is not None

    def power_returned(self, at: float) -> bool:
        """A sign that power is back while probation waits for it; True when its time begins now."""
        if self.probation != "waiting":
            return False
        self.probation, self.probation_by = "running", at + PROBATION_S
        return True

    def wait_again(self, at: float) -> None:
        """Nobody listened until `at`: a probation that runs begins anew."""
        if self.probation == "running":
            self.probation_by = at + PROBATION_S

    def probation_passed(self) -> bool:
        """True when every heater has been heard and is healthy."""
        return all(heater.heard_live and healthy(heater) for heater in self.heaters)

    def snapshot(self) -> JsonObject:
        return {key: to_plain(getattr(self, key)) for key in self.STATE} | {
            "latch": None if self.latch is None else self.latch.to_json(),
            "also": [list(pair) for pair in sorted(self.also)],
            "observing": self.observing.snapshot(),
            "bypasses": self.bypasses.snapshot(),
            "withheld": [[*key, at] for key, at in self.withheld.items()],
        }

    def restore(self, saved: JsonObject) -> None:
        self.set_latch(None if saved["latch"] is None else Latch.from_json(saved["latch"]))
        for key in self.STATE:
            setattr(self, key, from_plain(saved[key]))
        self.also = {(heater, check) for heater, check in saved["also"]}
        self.observing.restore(saved["observing"])
        self.bypasses.restore(saved["bypasses"])
        self.withheld = {(heater, check): at for heater, check, at in saved["withheld"]}


def healthy(heater: Heater) -> bool:
    """The newest live reading is one that a working heater in no danger gives."""
    if any(check.alarmed for check in heater.checks):
        return False
    lowest_c, highest_c = heater.plan.plausible_c
    temperature_c = heater.temperature_c
    if temperature_c is None or not (lowest_c <= temperature_c <= highest_c):
        return False
    return (heater.hottest_c if heater.hottest_c is not None else temperature_c) <= heater.plan.ceiling_c
