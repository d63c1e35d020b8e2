"""What people do to a printer with their hands: targets set at its display, build sheets swapped, doors opened."""

from dataclasses import dataclass, replace

from watchdog.simulation.machine import Machine
from watchdog.simulation.voices import Voices


@dataclass(frozen=True, slots=True)
class Asked:
    """A target in degrees Celsius, set while the board runs; 0 is off. A board that is dark hears nothing."""

    at_s: float
    heater: str
    target_c: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        if machine.board:
            machine.heaters[self.heater].target_c = self.target_c


@dataclass(frozen=True, slots=True)
class SheetSwapped:
    """What lies on top of a bed is taken off, and one like it laid on that has the temperature of the room."""

    at_s: float
    heater: str

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        chain = machine.heaters[self.heater].chain
        chain.lost_j += chain.capacity[-1] * (chain.celsius[-1] - machine.room_c)
        chain.celsius[-1] = machine.room_c


@dataclass(frozen=True, slots=True)
class DoorMoves:
    """The door of a box opens, or closes again: from now on its air leaks `leak_w_per_k` to the room. Nothing happens without a box."""

    at_s: float
    leak_w_per_k: float

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        if machine.air is not None:
            machine.air.loss[1] = replace(machine.air.loss[1], linear_w_per_k=self.leak_w_per_k)
