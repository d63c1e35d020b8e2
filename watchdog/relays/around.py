"""What every driver is given besides its address."""

from collections.abc import Callable
from dataclasses import dataclass

from watchdog.core.inputs import RelayReport
from watchdog.relays.mqtt_links import Links


@dataclass(frozen=True, slots=True)
class Around:
    """The engine's clock (seconds, monotonic), where reports go (never blocks, never raises), and the shared connections."""

    now: Callable[[], float]
    report: Callable[[RelayReport], None]
    links: Links
