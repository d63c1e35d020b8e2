"""The three printers of the Millbrook Tool Library: what they are, what they do in the show, and what befalls two of them.

All times are seconds of the workshop since the show began.
"""

from dataclasses import dataclass
from typing import NamedTuple

from watchdog.simulation.chance import dice
from watchdog.simulation.draw import true_heater
from watchdog.simulation.events import Event, SwitchFails
from watchdog.simulation.facts import HeaterFacts, PrinterFacts
from watchdog.simulation.parts import HeaterSetup
from watchdog.simulation.scenario import Scenario
from watchdog.simulation.sensing import SensorSpec
from watchdog.simulation.sensor_events import Glitch, LinkDown, SensorComesLoose

SITE = "millbrook-tool-library"
SENSORS = {
    "bed": SensorSpec(tau_s=4.0, noise_k=0.05, resolution_k=0.1),
    "hotend": SensorSpec(tau_s=2.0, noise_k=0.2, resolution_k=0.1),
}

SWITCH_FAILS_S = 60.0
HOTEND_HEATS_S = 150.0
SENSOR_SLIPS_S = 240.0
WILD_S = 35.0
WILD_C = 999.0
GAP_FROM_S = 170.0
GAP_S = 8.0


class Happening(NamedTuple):
    """Something that befalls a printer, as a bystander would tell it."""

    at_s: float
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One printer's part in the show. `danger` names the heater that must be cut; empty when nothing must."""

    scenario: Scenario
    story: str
    happenings: tuple[Happening, ...]
    danger: str = ""

    @property
    def name(self) -> str:
        return self.scenario.printer.name

    @property
    def heaters(self) -> dict[str, HeaterFacts]:
        """What the owner knows of each heater."""
        return self.scenario.printer.heaters


def cast(seed: int) -> tuple[Part, ...]:
    """All three. `seed` draws the noise of their sensors, and how far each heater differs from its description."""
    return _anvil(seed), _bramble(seed), _cinder(seed)


def _anvil(seed: int) -> Part:
    """A mains bed behind a solid-state relay."""
    heaters = {
        "bed": HeaterFacts(
            kind="bed", rated_w=750.0, normal_max_c=80.0, harm_c=130.0, supply="mains", switch="solid-state relay",
            width_mm=300.0, depth_mm=300.0, plate_mm=5.0, plate_material="aluminium", face_mm=0.8, face_material="spring steel",
        ),
        "hotend": HeaterFacts(kind="hotend", rated_w=50.0, normal_max_c=260.0, harm_c=310.0, block_g=20.0),
    }  # fmt: skip
    return Part(
        scenario=_scenario(seed, "anvil", heaters, _at_work(bed=60.0, hotend=215.0), SwitchFails(SWITCH_FAILS_S, "bed")),
        story=f"is printing. At {SWITCH_FAILS_S:.0f} s the solid-state relay of its bed fails closed: full power, whatever is asked for",
        happenings=(Happening(SWITCH_FAILS_S, "the bed's solid-state relay fails closed: full power from now on"),),
        danger="bed",
    )


def _bramble(seed: int) -> Part:
    """A bed of 24 V behind a MOSFET module."""
    heaters = {
        "bed": HeaterFacts(
            kind="bed", rated_w=240.0, normal_max_c=90.0, harm_c=130.0, switch="MOSFET module",
            width_mm=235.0, depth_mm=235.0, plate_mm=4.0, plate_material="aluminium", face_mm=0.8, face_material="spring steel",
        ),
        "hotend": HeaterFacts(kind="hotend", rated_w=45.0, normal_max_c=250.0, harm_c=310.0, block_g=20.0),
    }  # fmt: skip
    setup = {
        "bed": HeaterSetup(schedule=((2.0, 55.0),), sensors={"": SENSORS["bed"]}),
        "hotend": HeaterSetup(schedule=((HOTEND_HEATS_S, 210.0),), sensors={"": SENSORS["hotend"]}),
    }
    return Part(
        scenario=_scenario(seed, "bramble", heaters, setup, SensorComesLoose(SENSOR_SLIPS_S, "hotend")),
        story=f"is cold and heats up. At {SENSOR_SLIPS_S:.0f} s the sensor slips out of its hotend, which then looks cool and is heated on",
        happenings=(Happening(SENSOR_SLIPS_S, "the hotend's sensor slips out: it reads the air, and the printer heats on"),),
        danger="hotend",
    )


def _cinder(seed: int) -> Part:
    """A small printer, all of it switched by its board."""
    heaters = {
        "bed": HeaterFacts(
            kind="bed", rated_w=120.0, normal_max_c=70.0, harm_c=130.0, switch="printer board",
            width_mm=180.0, depth_mm=180.0, plate_mm=3.0, plate_material="aluminium", face_mm=0.8, face_material="spring steel",
        ),
        "hotend": HeaterFacts(kind="hotend", rated_w=40.0, normal_max_c=240.0, harm_c=300.0, block_g=15.0),
    }  # fmt: skip
    setup = _at_work(bed=55.0, hotend=200.0)
    return Part(
        scenario=_scenario(seed, "cinder", heaters, setup, Glitch(WILD_S, "bed", (WILD_C,)), LinkDown(GAP_FROM_S, GAP_S)),
        story=f"is printing. One wild reading and a gap of {GAP_S:.0f} s come its way; nothing must follow from them",
        happenings=(
            Happening(WILD_S, f"one wild reading of the bed: {WILD_C:.0f} degC"),
            Happening(GAP_FROM_S, f"its readings pause for {GAP_S:.0f} s"),
        ),
    )


def _at_work(**target_c: float) -> dict[str, HeaterSetup]:
    """In the middle of a print that does not end within the show."""
    return {
        name: HeaterSetup(schedule=((0.0, celsius),), sensors={"": SENSORS[name]}, start_c=celsius) for name, celsius in target_c.items()
    }


def _scenario(seed: int, name: str, heaters: dict[str, HeaterFacts], setup: dict[str, HeaterSetup], *events: Event) -> Scenario:
    true = {heater: true_heater(dice(seed, name, heater, "truth"), facts.kind) for heater, facts in heaters.items()}
    return Scenario(printer=PrinterFacts(name=name, heaters=heaters, true=true), setup=setup, events=events)
