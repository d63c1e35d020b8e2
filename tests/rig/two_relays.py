"""A printer behind two relays, and its trip."""

from rig.feeding import feed, readings
from rig.plans import heater, plug, site

from watchdog.core.engine import Engine
from watchdog.core.plan import PrinterPlan, RelayPlan

ECHOES = plug("first")
BEHIND = plug("second")
BED_ONLY = plug("first", silences=False)
"""It leaves the board alive, so that readings go on."""


def two_relays(first: RelayPlan = ECHOES, second: RelayPlan = BEHIND, *, kind: str = "bed") -> Engine:
    return Engine(site(PrinterPlan("anvil", (heater(kind, name="bed"),), ("first", "second")), relays=(first, second)), 0.0)


def tripped(engine: Engine, at: float = 10.0) -> Engine:
    """Tripped by its ceiling at `at`, at 130 degC."""
    feed(engine, *readings(at - 3.0, *[130.0] * 4))
    assert engine.site.printers["anvil"].latch is not None
    return engine
