"""What must outlive a restart of observing and bypasses: heating time that was used, and bypasses that run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from watchdog.core.site import Site
from watchdog.core.values import NEVER

Spent = tuple[str, str, str]
"""Printer, heater, check; heater and check are empty for a whole printer."""


class Left(NamedTuple):
    """A bypass that was begun before this start. `until` is engine time; NEVER when nobody can say how long it has run."""

    printer: str
    check: str
    person: str
    reason: str
    until: float = NEVER


@dataclass(frozen=True, slots=True)
class Remaining:
    """What a former guard left. `used_s` None: nobody knows, so that all of it counts as used. `why` says what is wrong, for people."""

    used_s: Mapping[Spent, float] | None = field(default_factory=dict)
    bypasses: tuple[Left, ...] = ()
    why: str = ""


def remaining_of(site: Site, at: float) -> Remaining:
    """What stands at engine time `at`."""
    used_s: dict[Spent, float] = {}
    bypasses = []
    for name, printer in site.printers.items():
        used_s.update(((name, *key), used) for key, used in printer.observing.used_at(at).items())
        bypasses += [Left(name, check, run.person, run.reason, run.until) for check, run in printer.bypasses.running.items()]
    return Remaining(used_s, tuple(bypasses))
