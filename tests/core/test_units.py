"""When a remark about the unit of a reading is made, and when it would only confuse."""

import pytest

from watchdog.core.units import unit_hint


@pytest.mark.parametrize(
    ("reading", "target_c", "coldest", "unit"),
    [
        (71.6, 0.0, 71.6, "Fahrenheit"),  # 22 degC, from the start
        (295.1, None, 295.1, "kelvin"),
        (71.6, 0.0, 22.0, "Fahrenheit"),  # a room at 22, and then its source changed
        (140.0, 60.0, 22.0, "Fahrenheit"),
        (85.4, 0.0, 20.5, ""),  # a hotend that cools: it has read what is no room in Fahrenheit
        (64.0, 0.0, 24.0, ""),
        (64.0, 0.0, 44.0, "Fahrenheit"),  # a cold garage, 7 degC, that the morning warmed
    ],
)
def test_a_unit_is_named_only_where_all_that_was_read_fits_it(reading: float, target_c: float | None, coldest: float, unit: str) -> None:
    hint = unit_hint(reading, target_c, coldest)
    assert (unit in hint) if unit else (hint == "")
