"""What printers are asked to do: prints with heat-up, soak, steps and an end; and how their owners have them reported."""

from dataclasses import dataclass
from math import log
from random import Random
from typing import Literal

from watchdog.simulation import bodies, draw
from watchdog.simulation.chance import chance
from watchdog.simulation.facts import PrinterFacts
from watchdog.simulation.parts import Control, HeaterSetup, MeterSpec, Schedule, Telemetry
from watchdog.simulation.sensing import SensorSpec

SLACK = 1.25
SETTLES_S = 90.0


@dataclass(frozen=True, slots=True)
class Job:
    """One print. Targets in degrees Celsius by heater; the bed heats first. Times in seconds of the scenario."""

    start_s: float
    target_c: dict[str, float]
    heats_s: dict[str, float]
    """When each heater's target is set."""
    holding_s: dict[str, float]
    """When each has long reached its target."""
    end_s: float

    def schedule(self, heater: str) -> Schedule:
        """The heater's targets of this print; nothing for a heater that is not in it."""
        if heater not in self.target_c:
            return ()
        return ((self.heats_s[heater], self.target_c[heater]), (self.end_s, 0.0))


def heat_up_s(printer: PrinterFacts, heater: str, from_c: float, to_c: float) -> float:
    """How long it needs at full power, in seconds, with some slack: as one lump with a linear loss."""
    facts, true = printer.heaters[heater], printer.true[heater]
    full_w = facts.rated_w * true.power_factor
    if facts.kind == "chamber":
        return 1200.0
    chain = draw.chain_of(facts, true)
    steady_k = bodies.steady_c(chain, full_w, draw.ROOM_C, 1.0, true.power_per_k)[1] - draw.ROOM_C
    share = min(0.97, (to_c - from_c) / steady_k)
    return -SLACK * log(1.0 - share) * sum(chain.capacity) * steady_k / full_w + SETTLES_S


def a_print(
    dice: Random, printer: PrinterFacts, hold_s: float, *, start_s: float | None = None, share: float = 1.0, heaters: tuple[str, ...] = ()
) -> Job:
    """A print that holds its targets for `hold_s`. `share` scales how far the targets lie below the hottest ever used."""
    start = dice.uniform(20.0, 120.0) if start_s is None else start_s
    target_c: dict[str, float] = {}
    heats_s: dict[str, float] = {}
    holding_s: dict[str, float] = {}
    at_s = start
    for name in heaters or tuple(printer.heaters):
        facts = printer.heaters[name]
        low_c = {"bed": 50.0, "hotend": 190.0, "chamber": 45.0}[facts.kind]
        top_c = max(low_c, share * facts.normal_max_c)
        target_c[name] = float(round(dice.uniform(min(low_c, facts.normal_max_c), min(top_c, facts.normal_max_c))))
        heats_s[name] = at_s
        holding_s[name] = at_s + heat_up_s(printer, name, draw.ROOM_C, target_c[name])
        if facts.kind == "bed":
            at_s = holding_s[name] - dice.uniform(0.0, 60.0)
    return Job(start, target_c, heats_s, holding_s, max(holding_s.values()) + hold_s)


def telemetry(dice: Random, *, meter: bool = False, slow: bool = False, targets: bool = True) -> Telemetry:
    """How one owner's printer reports: every 0.5 to 2 s (`slow`: 5 to 10), mostly with duty."""
    return Telemetry(
        period_s=dice.choice((5.0, 10.0)) if slow else dice.choice((0.5, 1.0, 1.0, 2.0)),
        jitter_s=dice.choice((0.0, 0.02, 0.1)),
        reports_target=targets,
        reports_duty=targets and chance(dice, 0.7),
        meter=MeterSpec(period_s=dice.choice((5.0, 10.0, 30.0)), lag_s=dice.choice((0.5, 3.0, 8.0))) if meter else None,
    )


def sensor(dice: Random, kind: str, grain: Literal["fine", "coarse", "any"] = "any") -> SensorSpec:
    """A sensor as found on printers."""
    noise_k = dice.choice((0.02, 0.05, 0.1, 0.2))
    fine, coarse = (0.01, 0.01, 0.06, 0.1), (0.25, 0.5, 1.0)
    choice = {"fine": fine, "coarse": coarse, "any": fine + coarse[:2]}[grain]
    return SensorSpec(
        tau_s=dice.uniform(1.0, 3.0) if kind == "hotend" else dice.uniform(2.0, 6.0),
        noise_k=noise_k,
        resolution_k=dice.choice(choice),
        offset_k=dice.uniform(-1.0, 1.0),
    )


def _usual_control(dice: Random, kind: str) -> Control:
    if kind == "bed" and chance(dice, 1.0 / 3.0):
        return "two-point"
    return "well tuned"


def setups(
    dice: Random, printer: PrinterFacts, job: Job | None, control: Control | None = None, grain: Literal["fine", "coarse", "any"] = "any"
) -> dict[str, HeaterSetup]:
    """Every heater of a printer set up for a job, or idle without one."""
    return {
        name: HeaterSetup(
            schedule=job.schedule(name) if job else (),
            control=control or _usual_control(dice, facts.kind),
            sensors={"": sensor(dice, facts.kind, grain)},
        )
        for name, facts in printer.heaters.items()
    }
