"""What happens in a scenario: faults, disturbances and what people do, each at its time. Compose them freely."""

from dataclasses import dataclass
from typing import Protocol

from watchdog.simulation.chain import STEFAN_BOLTZMANN, Loss
from watchdog.simulation.cloth import Cloth
from watchdog.simulation.control import TuningRun
from watchdog.simulation.machine import Machine
from watchdog.simulation.switching import SwitchMode
from watchdog.simulation.voices import Voices


class Event(Protocol):
    """One thing that happens at `at_s` seconds."""

    @property
    def at_s(self) -> float: ...

    def happen(self, machine: Machine, voices: Voices) -> None: ...


@dataclass(frozen=True, slots=True)
class SwitchFails:
    """The printer's own switch of a heater changes its state; `leak` is a share of full power."""

    at_s: float
    heater: str
    mode: SwitchMode = "closed"
    leak: float = 0.05

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].switch.fail(self.mode, self.leak)


@dataclass(frozen=True, slots=True)
class BoardHangs:
    """The printer's board hangs: each heater's output stays as it was."""

    at_s: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        for heater in machine.heaters.values():
            heater.board_hung = True


@dataclass(frozen=True, slots=True)
class HeaterComesLoose:
    """The heater keeps `contact` (0 to 1) of its contact: a cartridge slides out, a mat peels off."""

    at_s: float
    heater: str
    contact: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].chain.link[0] *= self.contact


@dataclass(frozen=True, slots=True)
class Draft:
    """A window, a fan, part cooling: convection of a heater (all when none is named) times `factor`, until the next one."""

    at_s: float
    factor: float
    heater: str = ""

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        for name, heater in machine.heaters.items():
            if self.heater in {"", name}:
                heater.draft = self.factor


@dataclass(frozen=True, slots=True)
class ToolMoves:
    """A hotend comes near the bed or leaves it: how much of the bed's excess it feels, 0 to 1."""

    at_s: float
    coupling: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.coupling = self.coupling


@dataclass(frozen=True, slots=True)
class LaidOn:
    """Something cold is put on a heater: `j_per_k` of it through a contact of `contact_w_per_k`, losing over `area_m2`."""

    at_s: float
    heater: str
    j_per_k: float
    contact_w_per_k: float
    area_m2: float
    water_g: float = 0.0

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        chain = machine.heaters[self.heater].chain
        loss = Loss(0.0, 3.0 * self.area_m2, 0.25, 0.8 * STEFAN_BOLTZMANN * self.area_m2)
        chain.add(self.j_per_k, self.contact_w_per_k, loss, machine.air_c)
        chain.cloth = Cloth(self.area_m2, self.water_g) if self.water_g else None


@dataclass(frozen=True, slots=True)
class TakenOff:
    """What was laid on last is taken off again."""

    at_s: float
    heater: str

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        chain = machine.heaters[self.heater].chain
        chain.remove()
        chain.cloth = None


@dataclass(frozen=True, slots=True)
class TuningStarts:
    """A controller tuning run around `around_c`; `reports_off`: its target stands at 0 meanwhile."""

    at_s: float
    heater: str
    around_c: float
    reports_off: bool = False

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].controller = TuningRun(self.around_c, reports_off=self.reports_off)


@dataclass(frozen=True, slots=True)
class OtherLoad:
    """Lights and the like: `watts` on top of standby from now on."""

    at_s: float
    watts: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.extra_w = self.watts


@dataclass(frozen=True, slots=True)
class MainSwitch:
    """The owner's own switch of the printer."""

    at_s: float
    on: bool

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.main_on = self.on
