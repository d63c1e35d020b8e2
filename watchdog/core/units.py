"""A reading that makes sense only in another unit: said where somebody looks for the reason of a trip."""

ZERO_C_IN_K = 273.15

ROOM_C = (10.0, 35.0)
"""What a heater that is off and rested reads."""

NEAR_K = 4.0
"""A heater that holds its target is as near to it, and one that rests as near to what it was at before."""


def unit_hint(temperature_c: float, target_c: float | None, coldest_c: float) -> str:
    """A remark for people when the reading fits a resting or a holding heater in kelvin or Fahrenheit and not in degrees Celsius; or "".

    `coldest_c` is the lowest that it has read: where that is no room in the other unit, its source speaks degrees Celsius, unless the
    reading is in the other unit just what it was at before.
    """
    for unit, celsius, coldest in (
        ("kelvin", temperature_c - ZERO_C_IN_K, coldest_c - ZERO_C_IN_K),
        ("Fahrenheit", (temperature_c - 32.0) / 1.8, (coldest_c - 32.0) / 1.8),
    ):
        if target_c is not None and target_c > 0.0:
            fits = abs(celsius - target_c) <= NEAR_K and abs(temperature_c - target_c) > 2.0 * NEAR_K
        else:
            spoke_so = coldest >= ROOM_C[0] - NEAR_K or abs(coldest_c - celsius) <= NEAR_K
            fits = ROOM_C[0] <= celsius <= ROOM_C[1] < temperature_c and spoke_so
        if fits:
            return f" (read as {unit} it would be {celsius:.0f} degC: is the unit of its source set right?)"
    return ""
