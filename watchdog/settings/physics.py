"""From the facts in a printer's file to what the physics of its heaters allow."""

from functools import cache

from watchdog.settings.limits import harm, normal_max
from watchdog.settings.model import Heater
from watchdog.thermal.expectations import Expectations, expectations
from watchdog.thermal.facts import Facts


def expected(heater: Heater) -> Expectations | None:
    """None where its facts do not suffice. Heaters alike share one."""
    facts = facts_of(heater)
    return None if facts is None else _expectations(facts)


def facts_of(heater: Heater) -> Facts | None:
    """What was said of it; None without its rated power."""
    if heater.rated_w is None:
        return None
    return Facts(
        kind=heater.kind,
        rated_w=heater.rated_w,
        normal_max_c=normal_max(heater).value,
        harm_c=harm(heater).value,
        width_mm=heater.width_mm,
        depth_mm=heater.depth_mm,
        plate_mm=heater.plate_mm,
        plate_material=heater.plate_material,
        face_mm=heater.face_mm,
        face_material=heater.face_material,
        block_g=heater.block_g,
    )


_expectations = cache(expectations)
