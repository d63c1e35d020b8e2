"""All families of labelled trials, by name: hazards that must be cut in time, traps that must stay quiet, and what may go either way."""

from collections.abc import Callable
from dataclasses import replace
from random import Random

from watchdog.simulation import hazards_night, hazards_sensor, hazards_switch, traps_heat, traps_night, traps_use, traps_wire
from watchdog.simulation.case import Case
from watchdog.simulation.chance import dice

Family = Callable[[Random], Case]

HAZARDS: dict[str, tuple[Family, ...]] = {
    "unheated rise": (
        hazards_switch.closed_idle, hazards_switch.closed_from_start, hazards_switch.half_closed_idle,
        hazards_switch.closed_slow_and_coarse,
        hazards_night.night_closed_off, hazards_night.night_half_closed_off, hazards_night.night_closed_at_power_on,
    ),
    "overshoot": (
        hazards_switch.closed_holding, hazards_switch.half_closed_holding, hazards_switch.chamber_closed,
        hazards_night.night_closed_holding, hazards_night.night_half_closed_holding,
    ),
    "ceiling": (hazards_switch.closed_without_targets,),
    "hot while off": (hazards_switch.closed_at_end, hazards_switch.half_closed_at_end, hazards_night.night_closed_at_end),
    "power while off": (hazards_switch.closed_unseen,),
    "no response": (
        hazards_sensor.loose_before, hazards_sensor.loose_heating, hazards_sensor.loose_holding, hazards_sensor.partly_loose,
        hazards_night.night_loose_holding, hazards_night.night_loose_heating,
    ),
    "stuck": (
        hazards_sensor.frozen_heating, hazards_sensor.frozen_holding, hazards_sensor.bridge_frozen_heating,
        hazards_sensor.bridge_frozen_holding, hazards_switch.board_hung_repeating,
        hazards_night.night_frozen_heating, hazards_night.night_bridge_frozen_heating,
    ),
    "out of range": (hazards_sensor.wire_open, hazards_sensor.wire_short, hazards_night.night_wire),
    "jumping": (hazards_sensor.jumping, hazards_night.night_jumping),
    "no readings": (
        hazards_sensor.silent_heating, hazards_sensor.silent_holding, hazards_sensor.temperature_missing, hazards_switch.board_hung_silent,
        hazards_night.night_silent,
    ),
    "disagreement": (hazards_sensor.second_sensor_disagrees,),
    "commanded too hot": (hazards_sensor.commanded_too_hot,),
}  # fmt: skip
"""By the check that is meant to see them first; others may."""

TRAPS: tuple[Family, ...] = (
    traps_heat.ordinary_print, traps_heat.stored_heat, traps_heat.warm_chamber, traps_heat.warm_neighbour, traps_heat.sunny_garage,
    traps_heat.winter_garage, traps_heat.cold_tool_lifted, traps_heat.weak_bed, traps_heat.draft, traps_heat.part_fan,
    traps_heat.steel_sheet, traps_heat.wet_cloth, traps_heat.wrench, traps_heat.slow_cooling, traps_heat.hot_hotend,
    traps_heat.ringing_loop,
    traps_use.lowered_target, traps_use.tool_change, traps_use.pause_with_time_out, traps_use.cold_idle, traps_use.coarse_steady,
    traps_use.tuning_run, traps_use.switched_off_warm, traps_use.switched_on_and_off, traps_use.fans_and_lights, traps_use.slow_meter,
    traps_use.lagging_second_sensor,
    traps_wire.single_glitches, traps_wire.short_drops, traps_wire.gap_hides_change, traps_wire.router_restart, traps_wire.duplicates,
    traps_wire.late_targets, traps_wire.null_values, traps_wire.no_targets, traps_wire.on_change, traps_wire.retained_leftover,
    traps_wire.clock_set_back,
    traps_night.long_night, traps_night.owner_habits,
)  # fmt: skip

EITHER_WAY: tuple[Family, ...] = (
    hazards_switch.leaking, traps_use.tuning_run_unreported, traps_wire.heater_open, traps_wire.mat_peeled, traps_wire.unit_changed,
)  # fmt: skip

FAMILIES: dict[str, Family] = {
    family.__name__: family for family in (*(entry for group in HAZARDS.values() for entry in group), *TRAPS, *EITHER_WAY)
}


def case(family: str, seed: int) -> Case:
    """One trial of a family. Raises KeyError for a family that is not known."""
    return replace(FAMILIES[family](dice(seed, family)), family=family, seed=seed)


def meant_for(family: str) -> str:
    """The check that is meant to see a hazard first; empty for everything else."""
    return next((check for check, group in HAZARDS.items() if any(entry.__name__ == family for entry in group)), "")
