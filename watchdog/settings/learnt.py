"""What was learnt of a heater from its recordings, and whether it still is that heater."""

import hashlib

import orjson

from watchdog.settings.model import Heater

LEARNABLE: tuple[tuple[str, str], ...] = (("overshoot", "band_k"), ("power_while_off", "above_w"))
"""Limits that recordings of healthy work can make tighter, by key of the check and of the limit."""

VOID = "what was learnt of it is void and not used: its facts, sensors or relays have changed since; run heatwarden learn again"

FACTS = (
    "kind", "rated_w", "supply", "switch", "width_mm", "depth_mm", "plate_mm", "plate_material", "face_mm", "face_material", "block_g",
)  # fmt: skip


def fingerprint(heater: Heater) -> str:
    """A short word for its facts, sensors and relays: another heater, plate, sensor or relay has another one."""
    told = [[key, getattr(heater, key)] for key in FACTS]
    ways = [[name, readings.topic, readings.page, readings.pushed] for name, readings in {"": heater.readings, **heater.sensors}.items()]
    return hashlib.sha256(orjson.dumps([told, ways, list(heater.relays)])).hexdigest()[:16]


def holds(heater: Heater) -> bool:
    """False where nothing was learnt, or its facts have changed since."""
    return heater.learnt is not None and heater.learnt.fingerprint == fingerprint(heater)


def learnt_value(heater: Heater, check: str, key: str) -> float | None:
    """The learnt value of a limit, by key of the check; None where there is none that holds."""
    if heater.learnt is None or (check, key) not in LEARNABLE or not holds(heater):
        return None
    return heater.learnt.limits.get(check, {}).get(key)
