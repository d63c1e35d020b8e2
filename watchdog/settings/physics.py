"""From the facts in a printer's file to what the physics of its heaters allow."""

from functools import cache

from watchdog.settings.heater_facts import facts_of
from watchdog.settings.model import Heater
from watchdog.thermal.expectations import Expectations, expectations


def expected(heater: Heater) -> Expectations | None:
    """None where its facts do not suffice. Heaters alike share one."""
    facts = facts_of(heater)
    return None if facts is None else _expectations(facts)


_expectations = cache(expectations)
