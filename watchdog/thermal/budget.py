"""The time there is between a ceiling and harm, and the time that acting takes. Degrees Celsius, seconds.

Process safety time is a property of the heater alone; the response has to fit into it, by rule of thumb into half of it (common
practice after IEC 61508).
"""

from math import log
from typing import Protocol

from watchdog.thermal.facts import Range

SHARE = 0.5
"""Of the process safety time a response may take so much."""

TO_90_PERCENT = log(10.0)
"""A sensor of the first order shows nine tenths of a step after so many time constants."""

PERIODS = 2.0
"""A reading is at worst so many reporting intervals old when the one that tells is judged."""


class Expected(Protocol):
    """What is asked of a heater's expectations."""

    @property
    def stored_rise_k(self) -> float: ...

    def fastest_rise_k_per_s(self, celsius: float) -> float: ...

    def heating_time_s(self, from_c: float, to_c: float) -> Range: ...


def response_s(*, sensor_time_constant_s: float, interval_s: float, confirm_s: float, network_s: float, relay_s: float) -> float:
    """From a temperature to the open relay, at worst: sensor, two reporting intervals, confirming, network, relay."""
    return TO_90_PERCENT * sensor_time_constant_s + PERIODS * interval_s + confirm_s + network_s + relay_s


def fits(process_safety_s: float, needed_s: float) -> bool:
    """Whether a response takes no more than half of the process safety time."""
    return needed_s <= SHARE * process_safety_s


def process_safety_s(expected: Expected, ceiling_c: float, harm_c: float) -> float:
    """The shortest time in which full power takes this heater from its ceiling to harm; infinite where it never does."""
    if ceiling_c >= harm_c:
        return 0.0
    return expected.heating_time_s(ceiling_c, harm_c).least


def reached_c(expected: Expected, from_c: float, after_s: float) -> float:
    """Where a heater stuck on ends at worst when its power goes `after_s` after it passed `from_c`.

    Its temperature, the fastest rise there (hotter it only gets slower) for that long, and the heat stored in mat or cartridge.
    """
    return from_c + max(expected.fastest_rise_k_per_s(from_c), 0.0) * after_s + expected.stored_rise_k
