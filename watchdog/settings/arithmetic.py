"""What comes of a ceiling: temperature at the trip, rise until the power is gone, stored heat, against harm.

The arithmetic goes by the heater's facts as they stand; where the worst that they may mean is another matter, it is said beside it.
"""

from dataclasses import dataclass

from watchdog.settings.heater_facts import harm
from watchdog.settings.model import Heater
from watchdog.settings.physics import expected
from watchdog.thermal.budget import SHARE, process_safety_s, reached_c
from watchdog.thermal.expectations import Expectations

SENSOR_S = {"bed": 5.0, "hotend": 2.0, "chamber": 5.0}
"""A sensor follows its heater so late (common practice for a bead or a cartridge under a screw)."""

SHORTEST_S = 0.25
"""No source reports more often."""

RELAY_S = 2.0
"""From the command to the open contact, a slow plug on a busy network (common practice)."""


@dataclass(frozen=True, slots=True)
class Safety:
    """Degrees Celsius and seconds. `usual` is by the facts as they stand, `worst` with all of them as wrong as they may be."""

    physics: Expectations
    ceiling_c: float
    harm_c: float
    waits_s: tuple[float, float, float, float]
    """From a temperature to the open relay: sensor, one reporting interval, confirming, relay."""

    @property
    def response_s(self) -> float:
        """All of them."""
        return sum(self.waits_s)

    @property
    def waits(self) -> str:
        """What the response is made of."""
        sensor_s, interval_s, confirm_s, relay_s = self.waits_s
        return f"sensor {sensor_s:g} + reporting interval {interval_s:g} + confirming {confirm_s:g} + relay {relay_s:g}"

    @property
    def longest_interval_s(self) -> float:
        """The reporting interval with which the response would be in time; 0 or less where none is."""
        return SHARE * self.usual_safety_s - (self.response_s - self.waits_s[1])

    @property
    def usual_rise_k_per_s(self) -> float:
        """At the ceiling, with full power."""
        return max(self.physics.usual_rise_k_per_s(self.ceiling_c), 0.0)

    @property
    def stored_k(self) -> float:
        """What the heat in mat or cartridge still adds."""
        return self.physics.body.stored_rise_k(self.physics.power_w(self.ceiling_c).usual)

    @property
    def usual_reached_c(self) -> float:
        """Where it ends when its power goes so late."""
        return self.ceiling_c + self.usual_rise_k_per_s * self.response_s + self.stored_k

    @property
    def worst_reached_c(self) -> float:
        """The same at worst."""
        return reached_c(self.physics, self.ceiling_c, self.response_s)

    @property
    def usual_safety_s(self) -> float:
        """From the ceiling to harm."""
        return self.physics.heating_time_s(self.ceiling_c, self.harm_c).usual

    @property
    def worst_safety_s(self) -> float:
        """The same at worst."""
        return process_safety_s(self.physics, self.ceiling_c, self.harm_c)

    @property
    def protects(self) -> bool:
        """False when even by the facts as they stand harm is reached before the power is gone."""
        return self.usual_reached_c < self.harm_c

    @property
    def in_time(self) -> bool:
        """The response takes no more than half of the process safety time (common practice after IEC 61508)."""
        return self.response_s <= SHARE * self.usual_safety_s

    @property
    def at_worst(self) -> str:
        """What may come of facts that are as wrong as they may be; empty where that is no harm."""
        if self.worst_reached_c < self.harm_c:
            return ""
        worst = f"{self.worst_reached_c:.0f} degC, and harm begins at {self.harm_c:.0f} degC"
        return f"if its facts are as wrong as they may be, the ceiling alone lets it reach {worst}; the other checks act sooner"

    @property
    def too_slow(self) -> str:
        """Why the response is not in time, and what would be."""
        needed = f"to see, confirm and cut takes {self.response_s:.1f} s ({self.waits})"
        longest_s = self.longest_interval_s
        todo = f"a source that reports every {longest_s:.1f} s would do" if longest_s >= SHORTEST_S else "no source is quick enough for it"
        return f"{needed}, more than half of the {self.usual_safety_s:.0f} s from there to harm; {todo}"

    @property
    def arithmetic(self) -> str:
        """All of it in one sentence."""
        rise = f"{self.usual_rise_k_per_s:.2f} K/s x {self.response_s:.1f} s ({self.waits})"
        reached = f"{self.ceiling_c:.0f} degC at the trip + {rise} + {self.stored_k:.1f} K stored = {self.usual_reached_c:.0f} degC"
        return f"{reached}, and harm begins at {self.harm_c:.0f} degC"


def outcome(heater: Heater, ceiling_c: float, confirm_s: float) -> Safety | None:
    """None where facts are missing."""
    physics = expected(heater)
    if physics is None:
        return None
    waits_s = (SENSOR_S[heater.kind], heater.readings.longest_interval_s, confirm_s, RELAY_S)
    return Safety(physics=physics, ceiling_c=ceiling_c, harm_c=harm(heater).value, waits_s=waits_s)
