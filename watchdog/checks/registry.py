"""The one list of checks. A new check adds one line here."""

from collections.abc import Callable
from typing import Any, NamedTuple

from watchdog.checks.ceiling import Ceiling, CeilingLimits
from watchdog.checks.commanded_too_hot import CommandedTooHot, CommandedTooHotLimits
from watchdog.checks.disagreement import Disagreement, DisagreementLimits
from watchdog.checks.facts_in_doubt import FactsInDoubt, FactsInDoubtLimits
from watchdog.checks.hot_while_off import HotWhileOff, HotWhileOffLimits
from watchdog.checks.jumping import Jumping, JumpingLimits
from watchdog.checks.no_readings import NoReadings, NoReadingsLimits
from watchdog.checks.no_response import NoResponse, NoResponseLimits
from watchdog.checks.out_of_range import OutOfRange, OutOfRangeLimits
from watchdog.checks.overshoot import Overshoot, OvershootLimits
from watchdog.checks.power_while_off import PowerWhileOff, PowerWhileOffLimits
from watchdog.checks.stuck import Stuck, StuckLimits
from watchdog.checks.unheated_rise import UnheatedRise, UnheatedRiseLimits
from watchdog.core.check import Check


class Entry(NamedTuple):
    """A check as the settings and the assembly see it: its class and its limits."""

    check: type[Check]
    limits: type[Any]
    always_armed: bool = False
    only_advises: bool = False

    @property
    def name(self) -> str:
        """The name people see, in trips and in `status`."""
        return self.check.name

    @property
    def key(self) -> str:
        """The name in settings files."""
        return self.check.name.replace(" ", "_")

    def build(self, limits: Any) -> Check:  # noqa: ANN401 - an instance of self.limits
        """A fresh check under these limits."""
        factory: Callable[[Any], Check] = self.check
        return factory(limits)


CHECKS: tuple[Entry, ...] = (
    Entry(Ceiling, CeilingLimits, always_armed=True),
    Entry(OutOfRange, OutOfRangeLimits, always_armed=True),
    Entry(NoReadings, NoReadingsLimits),
    Entry(Overshoot, OvershootLimits),
    Entry(UnheatedRise, UnheatedRiseLimits),
    Entry(HotWhileOff, HotWhileOffLimits),
    Entry(Stuck, StuckLimits),
    Entry(NoResponse, NoResponseLimits),
    Entry(PowerWhileOff, PowerWhileOffLimits),
    Entry(Jumping, JumpingLimits),
    Entry(Disagreement, DisagreementLimits),
    Entry(CommandedTooHot, CommandedTooHotLimits),
    Entry(FactsInDoubt, FactsInDoubtLimits, only_advises=True),
)
