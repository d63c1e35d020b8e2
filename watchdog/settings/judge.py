"""All rules over what was read."""

from collections.abc import Callable, Iterable, Iterator

from watchdog.settings.bounds import numbers
from watchdog.settings.draft import Draft
from watchdog.settings.rules_brokers import brokers
from watchdog.settings.rules_front import front
from watchdog.settings.rules_heaters import heaters
from watchdog.settings.rules_meters import meters_of_relays
from watchdog.settings.rules_pages import pages
from watchdog.settings.rules_readings import readings
from watchdog.settings.rules_relays import relays
from watchdog.settings.rules_use import use_of_relays
from watchdog.settings.sheet import Sheet, names

_RULES: tuple[Callable[[Sheet], Iterator[Draft]], ...] = (
    names,
    brokers,
    pages,
    front,
    relays,
    use_of_relays,
    meters_of_relays,
    readings,
    heaters,
)


def judge(sheet: Sheet, known: Iterable[Draft] = ()) -> list[Draft]:
    """What is wrong beyond the shape of single files, except for places that are `known` to be wrong already."""
    found = _new(list(known), numbers(sheet))
    told = [*known, *found]
    for rule in _RULES:
        found += _new(told, rule(sheet))
    return found


def _new(known: list[Draft], found: Iterator[Draft]) -> list[Draft]:
    """One mistake, one message."""
    told = {(draft.file, draft.path) for draft in known if draft.path}
    return [draft for draft in found if not any((draft.file, draft.path[:depth]) in told for depth in range(1, len(draft.path) + 1))]
