"""Whether the ceiling of a heater can keep it from harm."""

from watchdog.settings.arithmetic import Safety, outcome
from watchdog.settings.limits import Limit, resolve
from watchdog.settings.model import Heater


def safety(heater: Heater) -> Safety | None:
    """None where facts are missing."""
    limits = {(limit.check, limit.key): limit.value for limit in resolve(heater)}
    return outcome(heater, limits["ceiling", "above_c"], limits["ceiling", "confirm_s"])


def chosen(limits: tuple[Limit, ...]) -> str:
    """The limit of the ceiling that its owner chose; empty for none."""
    own = [limit.key for limit in limits if limit.check == "ceiling" and limit.origin == "settings"]
    return own[0] if own else ""
