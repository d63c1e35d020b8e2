"""Invented printers, drawn from chance: what their owners know, and how they truly are."""

from dataclasses import replace
from math import ceil
from random import Random

from watchdog.simulation import bodies
from watchdog.simulation.chain import Chain
from watchdog.simulation.facts import Enclosure, HeaterFacts, PrinterFacts, TrueHeater

ROOM_C = 22.0
REACHES_K = 20.0
"""A strong heater, stuck on, would settle so far above the temperature where harm starts; more in a draft."""

STRONGER = 1.15
MAINS_FROM_W = 350.0
HIGHEST_HARM_C = {"bed": 195.0, "hotend": 540.0}
SPARE_K = {"bed": (25.0, 35.0), "hotend": (50.0, 65.0)}
"""From the hottest lump in health to harm. A hotend that is stuck on passes 15 K in the time that its sensor lags and a guard confirms."""


def true_heater(dice: Random, kind: str) -> TrueHeater:
    """How a heater differs from its description: power 7 %, mass 6 %, losses 15 %, and its contacts."""
    return TrueHeater(
        power_factor=dice.uniform(0.93, 1.07),
        mass_factor=dice.uniform(0.94, 1.06),
        loss_factor=dice.uniform(0.85, 1.15),
        underside=dice.choice((0.15, 0.4, 1.0)),
        emissivity_factor=dice.uniform(0.85, 1.05),
        mat_contact=dice.uniform(300.0, 450.0),
        face_contact=dice.uniform(150.0, 350.0),
        block_loss_w_per_k=dice.uniform(0.06, 0.09),
        cartridge_contact_w_per_k=dice.uniform(2.2, 3.5) if kind == "hotend" else 2.5,
    )


def chain_of(facts: HeaterFacts, true: TrueHeater, start_c: float = ROOM_C) -> Chain:
    """The lumps of a bed or hotend."""
    return (bodies.bed if facts.kind == "bed" else bodies.hotend)(facts, true, start_c)


def bed(dice: Random, *, strong: bool) -> tuple[HeaterFacts, TrueHeater]:
    """A bed: a mat under a plate, a face clamped on a mat, or, if it need not be strong, a circuit board."""
    true = true_heater(dice, "bed")
    style = dice.choice(("plate", "plate", "plate", "face on mat") if strong else ("plate", "plate", "board", "face on mat"))
    width, depth = dice.choice(((220.0, 220.0), (235.0, 235.0), (250.0, 210.0), (300.0, 300.0), (350.0, 350.0)))
    density = dice.uniform(0.5, 0.85) if strong else dice.uniform(0.25, 0.4)
    rated_w = 10.0 * ceil(width * depth / 100.0 * density / 10.0)
    plate_mm: float | None = dice.choice((3.0, 4.0, 5.0, 6.0, 8.0))
    plate: str | None = "aluminium"
    face_mm, face = dice.choice(((0.0, "none"), (0.8, "spring steel"), (3.0, "glass"), (4.0, "glass"), (1.0, "polymer sheet")))
    if style == "face on mat":
        plate_mm = plate = None
        face_mm, face = dice.choice(((1.0, "spring steel"), (1.5, "spring steel"), (4.0, "glass")))
    if style == "board":
        plate_mm, plate = 1.6, "circuit board"
        face_mm, face = dice.choice(((0.8, "spring steel"), (3.0, "glass"), (4.0, "glass")))
        true = replace(true, mat_contact=1500.0, power_per_k=0.0035)
    mains = rated_w > MAINS_FROM_W
    facts = HeaterFacts(
        kind="bed", rated_w=rated_w, normal_max_c=110.0, harm_c=130.0, width_mm=width, depth_mm=depth,
        supply="mains" if mains else "24 V DC", switch="solid-state relay" if mains else dice.choice(("MOSFET module", "printer board")),
        plate_mm=plate_mm, plate_material=plate, face_mm=face_mm, face_material=face,
    )  # fmt: skip
    return _limits(facts, true, dice, (80.0, 110.0) if strong else (55.0, 90.0), strong=strong), true


def hotend(dice: Random, *, strong: bool, very_hot: bool = False) -> tuple[HeaterFacts, TrueHeater]:
    """A hotend; `very_hot` is one of those that print at 400 degrees Celsius and more."""
    true = true_heater(dice, "hotend")
    rated_w = dice.choice((80.0, 100.0)) if very_hot else dice.choice((40.0, 50.0, 60.0, 70.0) if strong else (30.0, 40.0, 50.0))
    facts = HeaterFacts(
        kind="hotend", rated_w=rated_w, normal_max_c=275.0, harm_c=310.0, switch="printer board",
        block_g=dice.choice((30.0, 40.0) if very_hot else (10.0, 15.0, 20.0, 25.0)),
    )  # fmt: skip
    return _limits(facts, true, dice, (420.0, 450.0) if very_hot else (240.0, 290.0), strong=strong), true


def printer(dice: Random, *, strong: bool = True, enclosed: bool = False, chamber: bool = False, very_hot: bool = False) -> PrinterFacts:
    """A printer with a bed and a hotend, `chamber` with a heated chamber too; `strong` heaters can do harm when stuck on."""
    bed_facts, bed_true = bed(dice, strong=strong)
    hotend_facts, hotend_true = hotend(dice, strong=strong, very_hot=very_hot)
    heaters, true = {"bed": bed_facts, "hotend": hotend_facts}, {"bed": bed_true, "hotend": hotend_true}
    box = None
    if enclosed or chamber:
        box = Enclosure(
            wall_j_per_k=dice.uniform(6000.0, 15000.0), outside_w_per_k=dice.uniform(3.0, 5.0), leak_w_per_k=dice.uniform(0.5, 1.5)
        )
    if chamber:
        heaters["chamber"] = HeaterFacts(
            kind="chamber", rated_w=dice.choice((400.0, 500.0)), normal_max_c=60.0, harm_c=90.0, supply="mains"
        )
        true["chamber"] = TrueHeater(power_factor=dice.uniform(0.95, 1.05))
    return PrinterFacts(
        name=dice.choice(("anvil", "bramble", "cinder")), heaters=heaters, true=true, enclosure=box,
        parked_coupling=dice.uniform(0.05, 0.25), standby_w=dice.uniform(5.0, 12.0),
    )  # fmt: skip


def _limits(facts: HeaterFacts, true: TrueHeater, dice: Random, normal: tuple[float, float], *, strong: bool) -> HeaterFacts:
    """The hottest target it can hold, and a harm temperature that the heater's own excess does not reach in health."""
    chain = chain_of(facts, true)
    full_w = facts.rated_w * true.power_factor
    steady = bodies.steady_c(chain, full_w, ROOM_C, 1.0, true.power_per_k)
    normal_c = 5.0 * round(min(dice.uniform(*normal), ROOM_C + 0.8 * (steady[1] - ROOM_C)) / 5.0)
    excess_k = full_w / chain.link[0]
    spare_k = dice.uniform(*SPARE_K[facts.kind])
    harm_c = min(HIGHEST_HARM_C[facts.kind], 5.0 * ceil((normal_c + excess_k + spare_k) / 5.0))
    if facts.kind == "bed":
        harm_c = max(130.0, harm_c)
    limited = replace(facts, normal_max_c=normal_c, harm_c=harm_c)
    if strong and max(steady) < harm_c + REACHES_K:
        return _limits(replace(facts, rated_w=round(facts.rated_w * STRONGER)), true, dice, normal, strong=True)
    return limited
