"""From a sensor to messages: one voice on the wire, and all that can go wrong with it."""

from collections import deque
from random import Random

from watchdog.core.inputs import Reading, SourceReport, Unusable
from watchdog.simulation.heater import Heater
from watchdog.simulation.parts import Telemetry
from watchdog.simulation.sensing import Sensor

Message = Reading | Unusable | SourceReport
BURST_APART_S = 0.002
DUPLICATE_WITHIN_S = 0.3
NULLS = ("temperature", "target", "not a number")


class Channel:
    """What is said of one sensor of one heater."""

    __slots__ = (
        "_dice", "_glitches", "_heater", "_held", "_keeps", "_last", "_printer", "_said_at_s", "_said_c", "_said_target_c", "_sensor",
        "_spec", "_targets", "closed_until_s", "due_s", "frozen_until_s", "label", "null_until_s",
    )  # fmt: skip

    def __init__(self, printer: str, heater: Heater, label: str, spec: Telemetry, dice: Random) -> None:
        self._printer, self._heater, self.label, self._spec, self._dice = printer, heater, label, spec, dice
        self._sensor: Sensor = heater.sensors[label]
        self.due_s = dice.random() * spec.period_s
        self.closed_until_s = self.frozen_until_s = self.null_until_s = float("-inf")
        self._keeps = False
        self._held: list[Message] = []
        self._last: Reading | None = None
        self._glitches: list[float] = []
        self._targets: deque[tuple[float, float]] = deque()
        self._said_at_s = float("-inf")
        self._said_c: float | None = None
        self._said_target_c: float | None = None

    @property
    def heater(self) -> str:
        return self._heater.name

    @property
    def source(self) -> str:
        """The source's name, as settings build it; a further sensor has a board, and so a source, of its own."""
        own = f"/{self.label}" if self.label else ""
        return f"{self._printer}/{self._heater.name}{own}"

    def close(self, until_s: float, *, keeps: bool) -> None:
        """Nothing gets through until then; `keeps` lets what was said in between arrive in one burst afterwards."""
        self.closed_until_s, self._keeps = until_s, keeps

    def glitch(self, values_c: tuple[float, ...]) -> None:
        """Say these instead of the next readings."""
        self._glitches.extend(values_c)

    def speak(self, at_s: float) -> list[Message]:
        """What leaves at `at_s`, when it is due; most often one reading."""
        spec = self._spec
        self.due_s += spec.period_s
        if spec.target_late_s:
            self._targets.append((at_s, self._heater.says_target_c()))
        if spec.on_change_k is not None and not self._has_news(at_s):
            return []
        if spec.on_change_k is not None and spec.presence and self._said_c is not None and self._is_silent_news(at_s):
            self._said_at_s = at_s
            return self._through(at_s, [SourceReport(self.source, at_s, alive=True)])
        said = self._say(at_s)
        return self._through(at_s, said)

    def _say(self, at_s: float) -> list[Message]:
        spec, dice = self._spec, self._dice
        at = at_s + (dice.random() * spec.jitter_s if spec.jitter_s else 0.0)
        if at_s < self.frozen_until_s and self._last is not None:
            return [self._last._replace(at=at)]
        celsius = self._glitches.pop(0) if self._glitches else self._sensor.reported()
        if spec.glitches and dice.random() < spec.glitches:
            celsius = dice.choice(spec.glitch_c)
        target_c = duty = None
        if not self.label:
            if spec.reports_target:
                target_c = self._late_target_c(at_s) if spec.target_late_s else self._heater.says_target_c()
            if spec.reports_duty:
                duty = round(self._heater.duty, 3)
        reading = Reading(self._printer, self._heater.name, at, celsius, target_c, duty, None, self.label)
        self._last = reading
        self._said_at_s, self._said_c, self._said_target_c = at_s, celsius, target_c
        said: list[Message] = [reading]
        if at_s < self.null_until_s:
            said = [reading._replace(temperature_c=None)]
        elif spec.nulls and dice.random() < spec.nulls:
            said = [self._nulled(reading)]
        if spec.duplicates and dice.random() < spec.duplicates:
            said.append(said[0]._replace(at=at + DUPLICATE_WITHIN_S * dice.random()))
        return said

    def _nulled(self, reading: Reading) -> Message:
        which = self._dice.choice(NULLS)
        if which == "not a number":
            return Unusable(reading.printer, reading.heater, reading.at, "temperature_c is not a finite number")
        if which == "target":
            return reading._replace(target_c=None, target_unknown=True)
        return reading._replace(temperature_c=None)

    def _has_news(self, at_s: float) -> bool:
        spec = self._spec
        if self._said_c is None or at_s - self._said_at_s >= spec.heartbeat_s or self._glitches:
            return True
        moved_k = abs(self._sensor.reported() - self._said_c)
        return moved_k >= (spec.on_change_k or 0.0) or self._target_news()

    def _target_news(self) -> bool:
        return not self.label and self._spec.reports_target and self._heater.says_target_c() != self._said_target_c

    def _is_silent_news(self, at_s: float) -> bool:
        """True when all that is to be said is "I am still here"."""
        moved_k = abs(self._sensor.reported() - (self._said_c or 0.0))
        silent = at_s - self._said_at_s >= self._spec.heartbeat_s and not self._glitches
        return silent and moved_k < (self._spec.on_change_k or 0.0) and not self._target_news()

    def _late_target_c(self, at_s: float) -> float | None:
        """The target as it stood `target_late_s` ago; None before there was one."""
        before_s = at_s - self._spec.target_late_s
        targets = self._targets
        while len(targets) > 1 and targets[1][0] <= before_s:
            targets.popleft()
        return targets[0][1] if targets[0][0] <= before_s else None

    def _through(self, at_s: float, said: list[Message]) -> list[Message]:
        if at_s < self.closed_until_s:
            if self._keeps:
                self._held.extend(said)
            return []
        if not self._held:
            return said
        held, self._held = self._held, []
        burst = [message._replace(at=at_s + number * BURST_APART_S) for number, message in enumerate(held)]
        return burst + [message._replace(at=max(message.at, burst[-1].at + BURST_APART_S)) for message in said]
