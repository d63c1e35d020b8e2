"""What may be expected of any heater of a class, for owners who tell us nothing more.

The temperatures are common practice for desktop printers; the harm temperatures lie under the short-term limits of the parts
that such heaters are built from (adhesives about 200 degC, polymer sheets and boards 130 to 170, fluoropolymer liners about 260).
A heater's own settings come first.
"""

from dataclasses import dataclass

Limits = dict[str, dict[str, float]]


@dataclass(frozen=True, slots=True)
class HeaterClass:
    """Defaults of one class of heater: temperatures in degrees Celsius, times in seconds, differences in kelvin."""

    name: str
    normal_max_c: float
    harm_c: float
    highest_harm_c: float
    plausible_c: tuple[float, float]
    ceiling_above_k: float
    stored_rise_k: float
    drop_k: float
    cooling_within_s: float
    time_constant_s: float
    cold_c: float
    limits: Limits


BED = HeaterClass(
    name="bed",
    normal_max_c=110.0,
    harm_c=130.0,
    highest_harm_c=200.0,
    plausible_c=(-40.0, 250.0),
    ceiling_above_k=15.0,
    stored_rise_k=12.0,
    drop_k=1.0,
    cooling_within_s=180.0,
    time_constant_s=3600.0,
    cold_c=45.0,
    limits={
        "ceiling": {"confirm_s": 3.0},
        "out of range": {"coldest_c": -10.0, "hottest_c": 200.0, "confirm_s": 4.0},
        "no readings": {"advise_s": 15.0, "grace_s": 45.0, "outage_s": 80.0, "cold_c": 50.0},
        "overshoot": {"band_k": 15.0, "rise_k": 6.0, "confirm_s": 10.0, "hang_s": 240.0, "settle_s": 60.0},
        "unheated rise": {"passive_k_per_s": 0.02, "rise_k": 4.0, "settle_s": 60.0, "above_k": 20.0, "neighbour_s": 400.0},
        "hot while off": {"hot_c": 70.0, "neighbour_k": 15.0, "settle_s": 180.0, "window_s": 300.0, "fall_k": 1.0},
        "stuck": {
            "noisy_s": 60.0,
            "heating_s": 150.0,
            "heating_least_s": 60.0,
            "heating_gap_k": 10.0,
            "cooling_s": 300.0,
            "hot_c": 70.0,
            "heating_below_c": 40.0,
            "steady_s": 240.0,
            "weak_s": 1200.0,
        },
        "no response": {
            "gap_k": 10.0,
            "duty": 0.8,
            "below_c": 40.0,
            "rise_k": 3.0,
            "within_s": 180.0,
            "draft_k_per_s": 0.1,
            "fall_k": 12.0,
            "cold_share": 0.6,
            "lag_s": 40.0,
            "behind_k": 12.0,
        },
        "power while off": {"above_w": 100.0, "rise_w": 100.0, "own_above_w": 20.0, "settle_s": 90.0},
        "jumping": {"jump_k": 5.0, "rate_k_per_s": 3.0, "jumps": 8.0, "forget_s": 20.0},
        "disagreement": {"apart_k": 8.0, "share": 0.1, "lag_s": 60.0, "confirm_s": 30.0},
        "commanded too hot": {"confirm_s": 5.0},
        "facts in doubt": {"ahead_k": 15.0, "rest_s": 1200.0, "still_k": 1.0},
    },
)

HOTEND = HeaterClass(
    name="hotend",
    normal_max_c=275.0,
    harm_c=310.0,
    highest_harm_c=550.0,
    plausible_c=(-40.0, 600.0),
    ceiling_above_k=20.0,
    stored_rise_k=12.0,
    drop_k=3.0,
    cooling_within_s=60.0,
    time_constant_s=600.0,
    cold_c=45.0,
    limits={
        "ceiling": {"confirm_s": 2.0},
        "out of range": {"coldest_c": -10.0, "hottest_c": 520.0, "confirm_s": 3.0},
        "no readings": {"advise_s": 15.0, "grace_s": 30.0, "outage_s": 80.0, "cold_c": 50.0},
        "overshoot": {"band_k": 20.0, "rise_k": 5.0, "confirm_s": 3.0, "hang_s": 60.0, "settle_s": 20.0},
        "unheated rise": {"passive_k_per_s": 0.1, "rise_k": 8.0, "settle_s": 20.0, "above_k": 20.0, "neighbour_s": 400.0},
        "hot while off": {"hot_c": 80.0, "neighbour_k": 20.0, "settle_s": 60.0, "window_s": 60.0, "fall_k": 3.0},
        "stuck": {
            "noisy_s": 40.0,
            "heating_s": 60.0,
            "heating_least_s": 12.0,
            "heating_gap_k": 20.0,
            "cooling_s": 60.0,
            "hot_c": 80.0,
            "heating_below_c": 200.0,
            "steady_s": 240.0,
            "weak_s": 1200.0,
        },
        "no response": {
            "gap_k": 30.0,
            "duty": 0.8,
            "below_c": 150.0,
            "rise_k": 5.0,
            "within_s": 60.0,
            "draft_k_per_s": 0.2,
            "fall_k": 25.0,
            "cold_share": 0.25,
            "lag_s": 15.0,
            "behind_k": 36.0,
        },
        "power while off": {"above_w": 100.0, "rise_w": 100.0, "own_above_w": 15.0, "settle_s": 60.0},
        "jumping": {"jump_k": 10.0, "rate_k_per_s": 12.0, "jumps": 8.0, "forget_s": 20.0},
        "disagreement": {"apart_k": 12.0, "share": 0.12, "lag_s": 15.0, "confirm_s": 30.0},
        "commanded too hot": {"confirm_s": 5.0},
        "facts in doubt": {"ahead_k": 40.0, "rest_s": 600.0, "still_k": 1.0},
    },
)

CHAMBER = HeaterClass(
    name="chamber",
    normal_max_c=65.0,
    harm_c=90.0,
    highest_harm_c=150.0,
    plausible_c=(-40.0, 150.0),
    ceiling_above_k=15.0,
    stored_rise_k=8.0,
    drop_k=1.0,
    cooling_within_s=300.0,
    time_constant_s=3600.0,
    cold_c=40.0,
    limits={
        "ceiling": {"confirm_s": 5.0},
        "out of range": {"coldest_c": -10.0, "hottest_c": 150.0, "confirm_s": 5.0},
        "no readings": {"advise_s": 20.0, "grace_s": 60.0, "outage_s": 80.0, "cold_c": 45.0},
        "overshoot": {"band_k": 12.0, "rise_k": 3.0, "confirm_s": 20.0, "hang_s": 600.0, "settle_s": 120.0},
        "unheated rise": {"passive_k_per_s": 0.05, "rise_k": 6.0, "settle_s": 300.0, "above_k": 15.0, "neighbour_s": 200.0},
        "hot while off": {"hot_c": 70.0, "neighbour_k": 15.0, "settle_s": 600.0, "window_s": 600.0, "fall_k": 1.0},
        "stuck": {
            "noisy_s": 120.0,
            "heating_s": 600.0,
            "heating_least_s": 240.0,
            "heating_gap_k": 10.0,
            "cooling_s": 600.0,
            "hot_c": 65.0,
            "heating_below_c": 35.0,
            "steady_s": 1800.0,
            "weak_s": 3600.0,
        },
        "no response": {
            "gap_k": 10.0,
            "duty": 0.8,
            "below_c": 35.0,
            "rise_k": 1.0,
            "within_s": 1200.0,
            "draft_k_per_s": 1.0,
            "fall_k": 100.0,
            "cold_share": 1.0,
            "lag_s": 300.0,
            "behind_k": 30.0,
        },
        "power while off": {"above_w": 100.0, "rise_w": 100.0, "own_above_w": 30.0, "settle_s": 90.0},
        "jumping": {"jump_k": 5.0, "rate_k_per_s": 1.5, "jumps": 8.0, "forget_s": 20.0},
        "disagreement": {"apart_k": 8.0, "share": 0.15, "lag_s": 120.0, "confirm_s": 30.0},
        "commanded too hot": {"confirm_s": 5.0},
        "facts in doubt": {"ahead_k": 20.0, "rest_s": 3600.0, "still_k": 1.0},
    },
)

CLASSES: dict[str, HeaterClass] = {entry.name: entry for entry in (BED, HOTEND, CHAMBER)}


def ceiling_c(kind: HeaterClass, normal_max_c: float, harm_c: float) -> float:
    """The default ceiling in degrees Celsius: `ceiling_above_k` over the hottest target ever used, never past half way to harm."""
    return normal_max_c + min(kind.ceiling_above_k, 0.5 * (harm_c - normal_max_c))
