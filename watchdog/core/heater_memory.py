"""The whole memory of a heater as plain JSON values, and back."""

from watchdog.core.heater import Heater
from watchdog.core.inputs import Reading
from watchdog.core.values import JsonObject, from_plain, to_plain


def kept(heater: Heater) -> JsonObject:
    """Everything that decides what comes next for it."""
    return {
        "values": {key: to_plain(getattr(heater, key)) for key in heater.STATE},
        "newest": None if heater.newest is None else list(heater.newest),
        "newest_of": {name: list(one) for name, one in heater.newest_of.items()},
        "sensors": {name: [value, at] for name, (value, at) in heater.sensors.items()},
        "observer": heater.observer.snapshot(),
        "rate": heater.rate.snapshot(),
        "burst": heater.burst.snapshot(),
        "checks": {check.name: check.snapshot() for check in heater.checks},
        "broken": dict(heater.broken),
        "told": dict(heater.told),
    }


def bring_back(heater: Heater, saved: JsonObject) -> None:
    """Continue from what was `kept`; checks it does not name begin anew."""
    for key in heater.STATE:
        setattr(heater, key, from_plain(saved["values"][key]))
    heater.newest = None if saved["newest"] is None else Reading(*saved["newest"])
    heater.newest_of = {name: Reading(*one) for name, one in saved["newest_of"].items()}
    heater.sensors = {name: (value, at) for name, (value, at) in saved["sensors"].items()}
    heater.observer.restore(saved["observer"])
    heater.rate.restore(saved["rate"])
    heater.burst.restore(saved["burst"])
    for check in heater.checks:
        if check.name in saved["checks"]:
            check.restore(saved["checks"][check.name])
    heater.look_who_heeds()
    heater.broken, heater.told = dict(saved["broken"]), dict(saved["told"])
