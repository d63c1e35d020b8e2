"""The latch: what is remembered of a trip until a person resets it."""

from dataclasses import asdict, dataclass, field
from typing import Any

from watchdog.core.values import JsonObject

UNKNOWN_TRIP = "unknown"
"""The trip of a latch whose record was lost: the mark stood, but nothing else could be read."""


@dataclass(frozen=True, slots=True)
class Latch:
    """A standing trip of one printer.

    `relays` are the names in the order in which they are to be commanded, `addresses` what a driver needs to
    reach each of them without the settings (paths of secrets, never secrets). `at_wall` is ISO 8601 UTC, put in by
    the guard, for people.
    """

    printer: str
    trip: str
    heater: str
    check: str
    reason: str
    relays: tuple[str, ...]
    at_wall: str = ""
    temperature_c: float | None = None
    addresses: JsonObject = field(default_factory=dict)

    def to_json(self) -> JsonObject:
        """The latch as plain JSON values."""
        return asdict(self) | {"relays": list(self.relays)}

    @staticmethod
    def from_json(saved: Any) -> "Latch":  # noqa: ANN401 - it judges whatever was read from a disk
        """The latch back from `to_json`; raises KeyError, TypeError or ValueError on anything else."""
        return Latch(
            printer=str(saved["printer"]),
            trip=str(saved["trip"]),
            heater=str(saved["heater"]),
            check=str(saved["check"]),
            reason=str(saved["reason"]),
            relays=tuple(str(name) for name in saved["relays"]),
            at_wall=str(saved.get("at_wall", "")),
            temperature_c=None if saved.get("temperature_c") is None else float(saved["temperature_c"]),
            addresses=dict(saved.get("addresses", {})),
        )


def unknown_latch(printer: str, relays: tuple[str, ...], addresses: JsonObject | None = None) -> Latch:
    """The latch of a printer of which only the mark is left, or whose latch file is damaged."""
    return Latch(
        printer=printer,
        trip=UNKNOWN_TRIP,
        heater="",
        check="",
        reason="a trip was under way when the guard stopped, or the latch file is damaged: its record is lost",
        relays=relays,
        addresses=addresses or {},
    )
