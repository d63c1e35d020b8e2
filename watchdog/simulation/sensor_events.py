"""What happens to sensors and to what is said over the wire."""

from dataclasses import dataclass

from watchdog.simulation.machine import Machine
from watchdog.simulation.sensing import Unit
from watchdog.simulation.voices import Voices


@dataclass(frozen=True, slots=True)
class SensorComesLoose:
    """A sensor keeps `seat` of its contact, 0 (fallen out) to 1 (as built)."""

    at_s: float
    heater: str
    seat: float = 0.0
    sensor: str = ""

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].sensors[self.sensor].reseat(self.seat)


@dataclass(frozen=True, slots=True)
class SensorShows:
    """A broken wire: the sensor shows `shown_c` whatever it is; None is mended."""

    at_s: float
    heater: str
    shown_c: float | None
    sensor: str = ""

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].sensors[self.sensor].forced_c = self.shown_c


@dataclass(frozen=True, slots=True)
class SensorFreezes:
    """The controller itself sees one value for ever: the last one, or `off_k` beside it."""

    at_s: float
    heater: str
    off_k: float = 0.0

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        sensor = machine.heaters[self.heater].sensors[""]
        sensor.frozen = True
        sensor.shown_c = sensor.celsius + self.off_k


@dataclass(frozen=True, slots=True)
class SensorDrifts:
    """A sensor shows `drift_k` more than it did, from now on."""

    at_s: float
    heater: str
    drift_k: float
    sensor: str = ""

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].sensors[self.sensor].drift_k = self.drift_k


@dataclass(frozen=True, slots=True)
class UnitChanges:
    """What is reported is in another unit, as after an update."""

    at_s: float
    heater: str
    unit: Unit

    def happen(self, machine: Machine, voices: Voices) -> None:
        del voices
        machine.heaters[self.heater].sensors[""].change(unit=self.unit)


@dataclass(frozen=True, slots=True)
class LinkDown:
    """Nothing gets through for `for_s` (infinity: never again) from the named heaters ("meter": the meter), all if none.

    `keeps`: what was said meanwhile arrives in one burst; `will`: the broker tells of it.
    """

    at_s: float
    for_s: float = float("inf")
    names: tuple[str, ...] = ()
    keeps: bool = False
    will: bool = False

    def happen(self, machine: Machine, voices: Voices) -> None:
        del machine
        voices.close(self.at_s, self.at_s + self.for_s, self.names, keeps=self.keeps, will=self.will)


@dataclass(frozen=True, slots=True)
class BridgeFreezes:
    """Something on the way repeats the last message of these heaters (all if none is named) for `for_s`."""

    at_s: float
    for_s: float = float("inf")
    names: tuple[str, ...] = ()

    def happen(self, machine: Machine, voices: Voices) -> None:
        del machine
        for channel in voices.named(self.names):
            channel.frozen_until_s = self.at_s + self.for_s


@dataclass(frozen=True, slots=True)
class TemperatureMissing:
    """Messages of these heaters (all if none is named) go on for `for_s` without a temperature."""

    at_s: float
    for_s: float = float("inf")
    names: tuple[str, ...] = ()

    def happen(self, machine: Machine, voices: Voices) -> None:
        del machine
        for channel in voices.named(self.names):
            channel.null_until_s = self.at_s + self.for_s


@dataclass(frozen=True, slots=True)
class Glitch:
    """The next readings of a heater are these values, in degrees Celsius."""

    at_s: float
    heater: str
    values_c: tuple[float, ...]

    def happen(self, machine: Machine, voices: Voices) -> None:
        del machine
        for channel in voices.named((self.heater,)):
            channel.glitch(self.values_c)
