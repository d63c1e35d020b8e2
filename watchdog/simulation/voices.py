"""All the voices of one printer: its channels and its meter, in the order in which their messages arrive."""

from heapq import heappop, heappush

from watchdog.core.inputs import Reading, SourceReport
from watchdog.simulation.chance import dice
from watchdog.simulation.channel import Channel, Message
from watchdog.simulation.machine import Machine
from watchdog.simulation.meter import Meter
from watchdog.simulation.parts import Telemetry

METER = "meter"
"""Names the meter where channels are named by their heater."""

WILL_DELAY_S = 1.5
"""The broker tells a last will so much after the link was cut."""


class Voices:
    """Collects what is said in each step. Messages are delivered in time order, each at its own `at`."""

    __slots__ = ("_count", "_machine", "_waiting", "channels", "meter", "printer")

    def __init__(self, printer: str, machine: Machine, spec: Telemetry, seed: int) -> None:
        self.printer, self._machine = printer, machine
        self.channels = [
            Channel(printer, heater, label, spec, dice(seed, heater.name, "channel", label))
            for heater in machine.heaters.values()
            for label in heater.sensors
        ]
        self.meter = Meter(printer, spec.meter, dice(seed, METER)) if spec.meter else None
        self._waiting: list[tuple[float, int, Message]] = []
        self._count = 0
        if spec.retained is not None:
            for name in machine.heaters:
                celsius, target_c = spec.retained
                self.say(Reading(printer, name, 0.0, celsius, target_c if spec.reports_target else None, retained=True))

    def say(self, message: Message) -> None:
        """Put one message on its way; it arrives at its `at`."""
        self._count += 1
        heappush(self._waiting, (message.at, self._count, message))

    def step(self, at_s: float, dt_s: float) -> list[Message]:
        """Let everyone speak whose turn has come by `at_s`, and deliver what has arrived by then."""
        board = self._machine.board
        for channel in self.channels:
            if channel.due_s <= at_s:
                if board or channel.label:
                    for message in channel.speak(at_s):
                        self.say(message)
                else:
                    channel.due_s = at_s + dt_s  # the printer is dark: it speaks as soon as it has started anew
        if self.meter is not None:
            self.meter.follow(dt_s, self._machine.wall_w())
            if self.meter.due_s <= at_s:
                for reading in self.meter.speak(at_s):
                    self.say(reading)
        waiting = self._waiting
        arrived: list[Message] = []
        while waiting and waiting[0][0] <= at_s:
            arrived.append(heappop(waiting)[2])
        return arrived

    def close(self, at_s: float, until_s: float, names: tuple[str, ...], *, keeps: bool, will: bool) -> None:
        """A link is down until then for the named heaters ("meter" is the meter), or for everyone when none is named."""
        for channel in self.named(names):
            channel.close(until_s, keeps=keeps)
            if will:
                self.say(SourceReport(channel.source, at_s + WILL_DELAY_S, alive=False, why="its last will"))
        if self.meter is not None and (not names or METER in names):
            self.meter.closed_until_s = until_s

    def named(self, names: tuple[str, ...]) -> list[Channel]:
        """The controllers' own channels of these heaters, all of every sensor's when none is named."""
        return [channel for channel in self.channels if not names or (channel.heater in names and not channel.label)]
