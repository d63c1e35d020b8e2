"""A pretend printer that runs: stepped by a live demo, or run as a whole by tests and reports."""

from copy import deepcopy
from typing import Any, Final

from watchdog.simulation.channel import Message
from watchdog.simulation.machine import Machine
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.voices import Voices

STEP_S: Final = 0.25
"""The plant's own step: well under the lag of a cartridge, and a binary fraction, so that times add up exactly."""

ROUNDING_S: Final = 1e-6
"""Times asked for may miss a multiple of the step by so much, as sums of tenths do."""


class Simulation:
    """One scenario under way. The same scenario, seed and relay give the same messages, however it is stepped."""

    __slots__ = ("_asked_s", "_events", "_mute", "_next", "_nothing", "_unfed", "machine", "now_s", "scenario", "steps", "voices")

    def __init__(self, scenario: Scenario, seed: int, *, mute: bool = False) -> None:
        """`mute` runs the plant alone, quicker; its temperatures are the same. Raises ValueError for a printer that cannot be built."""
        self.scenario = scenario
        self.machine = Machine(scenario.printer, scenario.setup, scenario.room, seed)
        self.voices = Voices(scenario.printer.name, self.machine, scenario.telemetry, seed)
        self._events = tuple(sorted(scenario.events, key=lambda event: event.at_s))
        self._next = 0
        self._mute = mute
        self.steps = 0
        self.now_s = self._asked_s = 0.0
        self._nothing: frozenset[str] = frozenset()
        self._unfed = frozenset((scenario.relay_cuts,)) if scenario.relay_cuts else self._nothing

    def step(self, dt_s: float, *, powered: bool = True) -> list[Message]:
        """Go on by `dt_s` with the relay upstream conducting or not: the messages that arrived, in time order.

        Moves in whole plant steps of STEP_S; what is left over is caught up by the next call. Raises ValueError for a negative time.
        """
        if not dt_s >= 0.0:
            raise ValueError(f"a step of {dt_s} s, allowed is 0 and more")
        self._asked_s += dt_s
        messages: list[Message] = []
        board = powered or bool(self.scenario.relay_cuts)
        unfed = self._nothing if powered else self._unfed
        machine, voices = self.machine, self.voices
        while self.now_s + STEP_S <= self._asked_s + ROUNDING_S:
            while self._next < len(self._events) and self._events[self._next].at_s <= self.now_s:
                self._events[self._next].happen(machine, voices)
                self._next += 1
            machine.step(self.now_s, STEP_S, unfed, board=board)
            self.steps += 1
            self.now_s = self.steps * STEP_S
            if not self._mute:
                messages += voices.step(self.now_s, STEP_S)
        return messages

    def hottest_c(self) -> dict[str, float]:
        """The temperature of each heater's hottest lump, in degrees Celsius: the truth, which no sensor tells."""
        return {name: heater.hottest_c() for name, heater in self.machine.heaters.items()}

    def copy(self) -> "Simulation":
        """The same printer at the same moment, to run on by itself: "what it would have reached without the cut"."""
        return deepcopy(self)

    def __deepcopy__(self, memo: dict[int, Any]) -> "Simulation":
        memo[id(self.scenario)] = self.scenario  # never changes
        memo[id(self._events)] = self._events
        twin = object.__new__(Simulation)
        for name in self.__slots__:
            setattr(twin, name, deepcopy(getattr(self, name), memo))
        return twin
