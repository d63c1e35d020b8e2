"""Pieces of a long night that happen while a printer prints: all of them healthy."""

from watchdog.simulation import bodies
from watchdog.simulation.chance import chance
from watchdog.simulation.draw import ROOM_C
from watchdog.simulation.events import Draft, LaidOn, OtherLoad, TakenOff
from watchdog.simulation.hands import DoorMoves, SheetSwapped
from watchdog.simulation.night import Night
from watchdog.simulation.traps_heat import STEEL_J_PER_M2K, WATER_J_PER_GK

DOOR_W_PER_K = (8.0, 25.0)
"""What the air of a box loses to the room through an open door."""

WRENCH_SHARE = (0.3, 0.75)
"""What a wrench draws at first, as a share of the heater's power."""

THIN_MM = 1.5


def _some_heater(night: Night) -> str:
    return night.dice.choice(tuple(heater for heater, target_c in night.target_c.items() if target_c > 0.0) or ("bed",))


def nothing(night: Night) -> None:
    """It simply prints."""
    night.wait(120.0, 1200.0)


def small_steps(night: Night) -> None:
    """Its owner tries what a few kelvin do."""
    heater = _some_heater(night)
    before_c = night.target_c[heater]
    for _ in range(night.dice.randint(1, 6)):
        night.ask(heater, max(20.0, night.target_c[heater] + night.dice.choice((-5.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 5.0))))
        night.wait(3.0, 300.0)
    if chance(night.dice, 0.5):
        night.ask(heater, before_c)


def large_step(night: Night) -> None:
    """A target goes down by 10 to 40 K, and up again later or not."""
    heater = _some_heater(night)
    before_c = night.target_c[heater]
    night.ask(heater, max(30.0, before_c - night.dice.uniform(10.0, 40.0)))
    night.wait(30.0, 1200.0)
    if chance(night.dice, 0.7):
        night.ask(heater, before_c)
        night.wait(0.0, 300.0)


def large_step_up(night: Night) -> None:
    """A target is raised by 10 to 40 K in mid-print."""
    heater = _some_heater(night)
    night.ask(heater, night.target_c[heater] + night.dice.uniform(10.0, 40.0))
    night.wait(60.0, 900.0)


def tool_changes(night: Night) -> None:
    """The hotend goes to a standby temperature and back, again and again."""
    hot_c = night.target_c["hotend"]
    standby_c = hot_c - night.dice.uniform(30.0, 90.0)
    for _ in range(night.dice.randint(1, 5)):
        night.ask("hotend", max(0.0, standby_c))
        night.wait(15.0, 240.0)
        night.ask("hotend", hot_c)
        night.wait(40.0, 400.0)


def pause(night: Night) -> None:
    """A pause: hotend, then bed, goes off by itself; a person comes back, swaps or wipes nothing, and resumes."""
    before_c = dict(night.target_c)
    night.wait(60.0, 600.0)
    night.off("hotend")
    night.wait(0.0, 600.0)
    if chance(night.dice, 0.6):
        night.off()
    night.wait(60.0, 3000.0)
    night.heat({heater: target_c for heater, target_c in before_c.items() if target_c > 0.0})


def part_fan(night: Night) -> None:
    """Part cooling changes its speed."""
    for _ in range(night.dice.randint(1, 8)):
        night.tell(Draft(night.now_s, night.dice.choice((1.0, 1.5, 2.5, 3.5, 5.0)), "hotend"))
        night.wait(5.0, 240.0)
    night.tell(Draft(night.now_s, 1.0, "hotend"))


def draft(night: Night) -> None:
    """A window opens, and is closed again."""
    night.tell(Draft(night.now_s, night.dice.uniform(1.5, 3.0)))
    night.wait(60.0, 1200.0)
    night.tell(Draft(night.now_s, 1.0))


def door(night: Night) -> None:
    """The door of the box is opened for a look or for good; a printer without a box stands in a draft meanwhile."""
    box = night.printer.enclosure
    if box is None:
        draft(night)
        return
    night.tell(DoorMoves(night.now_s, night.dice.uniform(*DOOR_W_PER_K)))
    night.wait(10.0, 900.0)
    night.tell(DoorMoves(night.now_s, box.leak_w_per_k))


def wrench(night: Night) -> None:
    """A cold wrench on the nozzle: 15 to 45 K less for a minute."""
    over_k = max(50.0, night.target_c["hotend"] - ROOM_C)
    contact = min(0.35, night.dice.uniform(*WRENCH_SHARE) * night.printer.heaters["hotend"].rated_w / over_k)
    night.tell(LaidOn(night.now_s, "hotend", night.dice.uniform(20.0, 45.0), contact, 0.004))
    night.wait(20.0, 120.0)
    night.tell(TakenOff(night.now_s, "hotend"))


def wet_cloth(night: Night) -> None:
    """The bed is wiped with a wet cloth that stays on it for a while."""
    area = bodies.area_m2(night.printer.heaters["bed"])
    water_g, share = night.dice.uniform(5.0, 50.0), night.dice.uniform(0.2, 0.5)
    night.tell(LaidOn(night.now_s, "bed", WATER_J_PER_GK * water_g + 15.0, 80.0 * area * share, area * share, water_g))
    night.wait(20.0, 180.0)
    night.tell(TakenOff(night.now_s, "bed"))


def cold_sheet(night: Night) -> None:
    """A cold steel sheet lies on the bed for some time; where the bed has a thin sheet of its own, that is swapped for a cold one."""
    facts = night.printer.heaters["bed"]
    if facts.plate_mm and 0.0 < (facts.face_mm or 0.0) <= THIN_MM and chance(night.dice, 0.6):
        night.tell(SheetSwapped(night.now_s, "bed"))
        night.wait(0.0, 300.0)
        return
    area = bodies.area_m2(facts)
    contact = night.dice.uniform(60.0, 150.0) * area
    night.tell(LaidOn(night.now_s, "bed", STEEL_J_PER_M2K * area * night.dice.uniform(0.5, 1.0), contact, area))
    night.wait(240.0, 2400.0)
    night.tell(TakenOff(night.now_s, "bed"))


def filament_change(night: Night) -> None:
    """The hotend goes off for as long as a person needs, and is heated again."""
    hot_c = night.target_c["hotend"]
    night.off("hotend")
    night.wait(10.0, 400.0)
    night.ask("hotend", hot_c)
    night.wait(60.0, 300.0)


def lights(night: Night) -> None:
    """Somebody switches lights on, and later off."""
    night.tell(OtherLoad(night.now_s, night.dice.uniform(5.0, 15.0)))
    night.wait(60.0, 1200.0)
    night.tell(OtherLoad(night.now_s, 0.0))


IN_A_PRINT = (
    nothing, nothing, small_steps, large_step, large_step_up, tool_changes, pause, part_fan, part_fan, draft, door, wrench, wet_cloth,
    cold_sheet, filament_change, lights,
)  # fmt: skip


def a_print(night: Night, hold_s: float, share: float = 1.0) -> None:
    """Heat up, print with all that may happen meanwhile, and end."""
    heaters = [heater for heater in night.printer.heaters if heater != "bed" or chance(night.dice, 0.95)]
    night.heat({heater: night.usual_c(heater, share) for heater in heaters})
    night.wait(60.0, 300.0)
    end_s = night.now_s + hold_s
    night.some(IN_A_PRINT, end_s, (20.0, 600.0))
    night.off()
