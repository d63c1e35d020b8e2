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

RELAY_S = 2.0
"""From the command to the open contact, a slow plug on a busy network (common practice)."""


@dataclass(frozen=True, slots=True)
class Safety:
    """Degrees Celsius and seconds. `usual` is by the facts as they stand, `worst` with all of them as wrong as they may be."""

    ceiling_c: float
    harm_c: float
    response_s: float
    usual_rise_k_per_s: float
    usual_reached_c: float
    worst_reached_c: float
    stored_k: float
    usual_safety_s: float
    worst_safety_s: float

    @property
    def protects(self) -> bool:
        """False when even by the facts as they stand harm is reached before the power is gone."""
        return self.usual_reached_c < self.harm_c

    @property
    def in_time(self) -> bool:
        """The response takes no more than half of the process safety time (common practice after IEC 61508)."""
        return self.response_s <= SHARE * self.usual_safety_s

    @property
    def arithmetic(self) -> str:
        """All of it in one sentence."""
        rise = f"{self.usual_rise_k_per_s:.2f} K/s x {self.response_s:.1f} s"
        reached = f"{self.ceiling_c:.0f} degC at the trip + {rise} + {self.stored_k:.1f} K stored = {self.usual_reached_c:.0f} degC"
        return f"{reached}, and harm begins at {self.harm_c:.0f} degC"


def response_s(heater: Heater, confirm_s: float) -> float:
    """From a temperature to the open relay: sensor, one reporting interval, confirming, relay."""
    return SENSOR_S[heater.kind] + heater.readings.longest_interval_s + confirm_s + RELAY_S


def protects(heater: Heater, ceiling_c: float, confirm_s: float) -> bool:
    """False where, by its facts as they stand, harm is reached before the power is gone."""
    physics = expected(heater)
    return physics is None or _reached_c(physics, ceiling_c, response_s(heater, confirm_s)) < harm(heater).value


def _reached_c(physics: Expectations, ceiling_c: float, after_s: float) -> float:
    rise_k = max(physics.usual_rise_k_per_s(ceiling_c), 0.0) * after_s
    return ceiling_c + rise_k + physics.body.stored_rise_k(physics.power_w(ceiling_c).usual)


def outcome(heater: Heater, ceiling_c: float, confirm_s: float) -> Safety | None:
    """None where facts are missing."""
    physics = expected(heater)
    if physics is None:
        return None
    harm_c = harm(heater).value
    after_s = response_s(heater, confirm_s)
    return Safety(
        ceiling_c=ceiling_c,
        harm_c=harm_c,
        response_s=after_s,
        usual_rise_k_per_s=max(physics.usual_rise_k_per_s(ceiling_c), 0.0),
        usual_reached_c=_reached_c(physics, ceiling_c, after_s),
        worst_reached_c=reached_c(physics, ceiling_c, after_s),
        stored_k=physics.body.stored_rise_k(physics.power_w(ceiling_c).usual),
        usual_safety_s=physics.heating_time_s(ceiling_c, harm_c).usual,
        worst_safety_s=process_safety_s(physics, ceiling_c, harm_c),
    )
