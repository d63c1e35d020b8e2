"""Three scripted printers for the demo: curves that react to their power, in real seconds. No physics is claimed for them."""

from dataclasses import dataclass, field
from typing import Literal

Mishap = Literal["none", "switch fails closed", "sensor falls silent"]

ROOM_C = 22.0
STORED_RISE_K = 1.5
"""How far a cut heater goes on rising on stored heat."""


@dataclass(slots=True)
class ScriptedHeater:
    """One heater that holds its target until its mishap. Temperatures in degrees Celsius, times in seconds."""

    name: str
    target_c: float
    mishap: Mishap = "none"
    mishap_at_s: float = 1e9
    wild_at_s: float = 1e9
    runaway_k_per_s: float = 1.5
    temperature_c: float = field(init=False)
    _stored_k: float = field(init=False, default=STORED_RISE_K)

    def __post_init__(self) -> None:
        self.temperature_c = self.target_c

    def step(self, at_s: float, dt_s: float, *, powered: bool) -> dict[str, float] | None:
        """What it reports at `at_s`, `dt_s` after the last time; None when it says nothing."""
        if not powered:
            self._cool(dt_s)
        elif self.mishap == "switch fails closed" and at_s >= self.mishap_at_s:
            self.temperature_c += self.runaway_k_per_s * dt_s
        ripple_k = 0.2 * (int(at_s * 2) % 3 - 1) if powered and at_s < self.mishap_at_s else 0.0
        if self.mishap == "sensor falls silent" and at_s >= self.mishap_at_s:
            return None
        shown_c = self.temperature_c + ripple_k
        if self.wild_at_s <= at_s < self.wild_at_s + dt_s:
            shown_c = 999.0  # one wild sample, as a loose wire gives
        return {"temperature_c": round(shown_c, 2), "target_c": self.target_c, "duty": round(0.3 if powered else 0.0, 2)}

    def _cool(self, dt_s: float) -> None:
        if self._stored_k > 0.0:
            rise_k = min(self._stored_k, 1.0 * dt_s)
            self._stored_k -= rise_k
            self.temperature_c += rise_k
        else:
            self.temperature_c += (ROOM_C - self.temperature_c) * dt_s / 40.0


@dataclass(slots=True)
class ScriptedPrinter:
    """A printer whose heaters share one plug."""

    name: str
    story: str
    heaters: tuple[ScriptedHeater, ...]


def scripted_site() -> tuple[ScriptedPrinter, ...]:
    """The three printers of the tool library."""
    return (
        ScriptedPrinter(
            "anvil",
            "its bed's solid-state relay fails closed 8 s into the show",
            (ScriptedHeater("bed", 60.0, "switch fails closed", 8.0), ScriptedHeater("hotend", 210.0)),
        ),
        ScriptedPrinter(
            "bramble",
            "its readings stop 14 s into the show while it heats",
            (ScriptedHeater("bed", 55.0, "sensor falls silent", 14.0), ScriptedHeater("hotend", 205.0, "sensor falls silent", 14.0)),
        ),
        ScriptedPrinter(
            "cinder",
            "prints undisturbed, but for one wild sample of 999 degC at 12 s",
            (ScriptedHeater("bed", 60.0, wild_at_s=12.0), ScriptedHeater("hotend", 200.0)),
        ),
    )
