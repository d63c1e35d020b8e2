"""Bypasses: for a while, and never without an end, one check of a printer does not cut. A person asks for it, with a reason."""

from collections.abc import Collection
from dataclasses import asdict, dataclass

from watchdog.core.inputs import Bypass
from watchdog.core.observing import ALWAYS_ARMED
from watchdog.core.values import INFINITY, JsonObject

MINUTE_S = 60.0

LONGEST_S = 60 * MINUTE_S
"""A bypass lasts no longer than this,"""

LONGEST_LONG_S = 480 * MINUTE_S
"""or than this where a person says that it is meant to be long."""


@dataclass(slots=True)
class Running:
    """A bypass that runs until engine time `until`, in seconds."""

    until: float
    person: str
    reason: str


class Bypasses:
    """The bypasses of one printer, by the name of the check; each covers all heaters."""

    def __init__(self) -> None:
        self.running: dict[str, Running] = {}

    def deadline(self) -> float:
        return min((bypass.until for bypass in self.running.values()), default=INFINITY)

    def over(self, at: float) -> dict[str, Running]:
        """Take out those that have run out by `at`."""
        found = {check: bypass for check, bypass in self.running.items() if bypass.until <= at}
        for check in found:
            del self.running[check]
        return found

    def slept(self, at: float, slept_s: float) -> None:
        """The clock of the engine stood still for `slept_s` and goes on at `at`: a bypass does not."""
        for bypass in self.running.values():
            bypass.until = max(at, bypass.until - max(slept_s, 0.0))

    def snapshot(self) -> JsonObject:
        return {check: asdict(bypass) for check, bypass in self.running.items()}

    def restore(self, saved: JsonObject) -> None:
        self.running = {check: Running(**bypass) for check, bypass in saved.items()}


def refusal(item: Bypass, checks: Collection[str]) -> str:
    """Why a bypass is refused, with what to do about it; empty when it may begin. `checks` are those of the printer."""
    may_be = ", ".join(check for check in checks if check not in ALWAYS_ARMED) or "none"
    if item.check in ALWAYS_ARMED:
        return f"{item.check} is never bypassed: it is the last that stands between a heater and a fire. These may be: {may_be}"
    if item.check not in checks:
        return f"{item.printer} has no check {item.check!r}; these may be bypassed: {may_be}"
    if not item.person.strip() or not item.reason.strip():
        return "a bypass needs the name of a person and a reason, both on record"
    if not 0.0 < item.seconds <= LONGEST_LONG_S:
        return (
            f"a bypass lasts more than 0 and at most {LONGEST_LONG_S / MINUTE_S:.0f} minutes: give an end that somebody will be there for"
        )
    if item.seconds > LONGEST_S and not item.long:
        return f"a bypass of more than {LONGEST_S / MINUTE_S:.0f} minutes must be meant: say so (--long)"
    return ""
