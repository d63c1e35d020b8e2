"""One labelled trial: a scenario, and what a guard must do about it."""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from watchdog.simulation.scenario import Scenario
from watchdog.simulation.simulation import Simulation

Expect = Literal["quiet", "trip", "either"]
NEVER_S = float("inf")
MARGIN_S = 2.0
"""Power must be gone so long before harm."""

LOOK_EVERY_S = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A scenario with its label. Times are seconds of the scenario.

    "quiet" must not trip; "trip" must, for `heater`, after `onset_s`, in time; "either" is where a guard may or may not cut: no harm
    comes of it, or nothing that it hears tells it apart. `bound_s` is the longest that it may go unnoticed where harm is not reached.
    """

    family: str = ""
    seed: int = 0
    scenario: Scenario
    until_s: float
    expect: Expect = "quiet"
    heater: str = ""
    onset_s: float = NEVER_S
    bound_s: float = NEVER_S


class Outcome(NamedTuple):
    """What becomes of a case that nobody cuts. `harm_at_s` is when its hottest lump reaches harm (infinity: never)."""

    deadline_s: float
    harm_at_s: float
    hottest_c: float
    heater: str


def outcome(case: Case) -> Outcome:
    """Run the plant alone to the end of the case. The heater is the case's, or for a quiet one that which came nearest to harm.

    The deadline of a trip is 2 s before harm, or the bound after the onset where harm is not reached.
    """
    harm_c = {name: facts.harm_c for name, facts in case.scenario.printer.heaters.items()}
    watched = (case.heater,) if case.heater else tuple(harm_c)
    simulation = Simulation(case.scenario, case.seed, mute=True)
    hottest_c = dict.fromkeys(watched, float("-inf"))
    harm_at_s = dict.fromkeys(watched, NEVER_S)
    while simulation.now_s < case.until_s:
        simulation.step(LOOK_EVERY_S)
        for name in watched:
            now_c = simulation.machine.heaters[name].hottest_c()
            hottest_c[name] = max(hottest_c[name], now_c)
            if now_c >= harm_c[name] and harm_at_s[name] == NEVER_S:
                harm_at_s[name] = simulation.now_s
    nearest = max(watched, key=lambda name: hottest_c[name] - harm_c[name])
    first_s = harm_at_s[nearest]
    deadline_s = first_s - MARGIN_S if first_s < NEVER_S else case.onset_s + case.bound_s
    return Outcome(deadline_s, first_s, hottest_c[nearest], nearest)
