"""What is known of a heater before any limit: its facts, and the temperatures that its class stands in for."""

from typing import Literal, NamedTuple

from watchdog.settings.model import Heater
from watchdog.thermal.facts import Facts
from watchdog.thermal.heater_classes import CLASSES

Origin = Literal["settings", "learnt", "facts", "class of heater"]


class Fact(NamedTuple):
    """A temperature of a heater in degrees Celsius, and where it comes from."""

    value: float
    origin: Origin


def normal_max(heater: Heater) -> Fact:
    """The hottest target this heater is ever given."""
    if heater.normal_max_c is not None:
        return Fact(heater.normal_max_c, "settings")
    return Fact(CLASSES[heater.kind].normal_max_c, "class of heater")


def harm(heater: Heater) -> Fact:
    """Where its weakest part begins to fail."""
    if heater.harm_c is not None:
        return Fact(heater.harm_c, "settings")
    return Fact(CLASSES[heater.kind].harm_c, "class of heater")


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
