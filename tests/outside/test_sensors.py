"""What sensors of the trade show when they are open, nearly open, or shorted; and that a heater with such a sensor is cut.

The resistances and the formulas are those of the standards and data sheets named beside them; for the platinum sensor an independent
library (PyPI rtd-sensor, IEC 60751) has the last word. Values go through the decoder of a message, as they would on their way in.
"""

from math import exp, inf, log, sqrt

import orjson
import pytest
from rig import plans
from rig.feeding import events
from rtd_sensor import pt100  # type: ignore[import-untyped]  # it has no types

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, Tick, Unusable
from watchdog.core.outputs import Event
from watchdog.core.plan import PrinterPlan
from watchdog.wire.feed import Feed
from watchdog.wire.payload import Decoder, Rejected

HOLDS_C = {"bed": 60.0, "hotend": 210.0}
WITHIN_S = 200.0
"""The longest that a bed may be heated by a sensor that stands still: its "no response"."""

# IEC 60751, the coefficients of the standard; the resistances are those of its printed table, to 0.01 ohm.
A, B = 3.9083e-3, -5.775e-7
PT100_OHM = {-200.0: 18.52, 0.0: 100.0, 100.0: 138.51, 200.0: 175.86, 300.0: 212.05, 850.0: 390.48}

# An NTC of 100 kOhm at 25 degC and beta 3950 K, in a divider with 4.7 kOhm; resistances of that model.
BETA, R25, PULL_UP = 3950.0, 100_000.0, 4700.0
NTC_OHM = {0.0: 336_206.0, 25.0: 100_000.0, 60.0: 24_861.6, 100.0: 6_975.20, 200.0: 744.613, 300.0: 173.521}


def platinum_c(ohm: float) -> float:
    """The formula above 0 degC as a board solves it that does not look at what it was given."""
    return (-A + sqrt(A * A - 4.0 * B * (1.0 - ohm / 100.0))) / (2.0 * B)


def ntc_c(ohm: float) -> float:
    """The beta formula as a board solves it; an endless resistance is absolute zero."""
    return -273.15 if ohm == inf else 1.0 / (1.0 / 298.15 + log(ohm / R25) / BETA) - 273.15


def counts_c(counts: int, full: int) -> float:
    """What a converter with so many counts at full scale makes of that NTC."""
    return ntc_c(inf if counts >= full else PULL_UP * counts / (full - counts))


def loop_c(milliampere: float) -> float:
    """A transmitter of 4 to 20 mA over 0 to 300 degC."""
    return (milliampere - 4.0) / 16.0 * 300.0


def trip_of(kind: str, shown: float | str) -> Event | None:
    """The trip of a heater that held its target for two minutes, and whose board then says `shown` instead, for five more."""
    target_c = HOLDS_C[kind]
    plan = plans.heater(kind, interval_s=3.0)
    engine = Engine(plans.site(PrinterPlan("anvil", (plan,), ("plug",))), 0.0)
    decoder = Decoder(Feed(topic="anvil"))
    for second in range(1, 420):
        at = float(second)
        value = target_c + 0.1 * (second % 3) if second <= 120 else shown
        heard = decoder.judge(orjson.dumps({"temperature_c": value, "target_c": target_c}))
        if isinstance(heard, Rejected):
            out = engine.feed(Unusable("anvil", kind, at, heard.why))
        else:
            temperature_c, told_c = heard[:2]
            out = engine.feed(Reading("anvil", kind, at, temperature_c, told_c))
        found = events([*out, *engine.feed(Tick(at))], "trip")
        if found:
            return found[0]
    return None


def cut_after_s(kind: str, shown: float | str) -> tuple[str, float]:
    """By which check, and after how long."""
    trip = trip_of(kind, shown)
    assert trip is not None, f"a {kind} that shows {shown} is not cut"
    assert trip.at > 120.0, f"tripped while all was well: {trip.sentence}"
    return trip.check, trip.at - 121.0


SIGNATURES = {
    # IEC 60751: nothing but a broken wire or a short leads beyond 18.52 to 390.48 ohm.
    "Pt100 shorted, 0 ohm": platinum_c(0.0),
    "Pt100 nearly shorted, 10 ohm": platinum_c(10.0),
    "Pt100 nearly open, 400 ohm": platinum_c(400.0),
    # NTC: open is full scale and absolute zero; 1022 and 1021 of 1023 are nearly open; 1 and 2 counts are nearly shorted.
    "NTC open": counts_c(1023, 1023),
    "NTC nearly open, 1022 of 1023": counts_c(1022, 1023),
    "NTC nearly open, 1021 of 1023": counts_c(1021, 1023),
    "NTC nearly open, 4094 of 4095": counts_c(4094, 4095),
    "NTC nearly open, 4093 of 4095": counts_c(4093, 4095),
    "NTC nearly open, 4085 of 4095": counts_c(4085, 4095),
    "NTC with a leak of 1 MOhm": ntc_c(1e6),
    "NTC with a leak of 10 MOhm": ntc_c(1e7),
    "NTC nearly shorted, 1 of 1023": counts_c(1, 1023),
    "NTC nearly shorted, 2 of 1023": counts_c(2, 1023),
    "NTC nearly shorted, 1 of 4095": counts_c(1, 4095),
    "NTC shorted, 1 ohm": ntc_c(1.0),
}
"""Values that come in as temperatures and that no heater has, in degrees Celsius."""

ABSURD: dict[str, float | str] = {
    # Above 3000 degC and below absolute zero no source means a temperature: the message is unusable.
    "NTC shorted, 0.5 ohm": ntc_c(0.5),
    "NTC shorted, 0.2 ohm": ntc_c(0.2),
    "NTC shorted, 0.17 ohm": ntc_c(0.17),
    "NTC shorted, 0.1 ohm": ntc_c(0.1),
    # What a board writes that divides by zero, or takes a root below it.
    "not a number": "NaN",
    "infinite": "inf",
}

PLAUSIBLE = {
    # A winter's garage reads so, too: it is the heating without effect that tells.
    "NTC nearly open, 1013 of 1023": counts_c(1013, 1023),
    # NAMUR NE 43: 3.6 mA and less, 21 mA and more say that the sensor failed. Over 0 to 300 degC that is -7.5 and 318.75 degC.
    "transmitter failed low, 3.6 mA": loop_c(3.6),
    # A shorted thermocouple shows its cold junction (ITS-90: 0 mV), which is the room.
    "thermocouple shorted": 25.0,
}


def test_the_tables_are_those_of_the_standard_and_the_data_sheet() -> None:
    for celsius, ohm in PT100_OHM.items():
        assert pt100.celsius_to_resistance(celsius) == pytest.approx(ohm, abs=0.005)
        if celsius >= 0.0:
            assert platinum_c(pt100.celsius_to_resistance(celsius)) == pytest.approx(celsius, abs=1e-6)
    for celsius, ohm in NTC_OHM.items():
        assert R25 * exp(BETA * (1.0 / (celsius + 273.15) - 1.0 / 298.15)) == pytest.approx(ohm, rel=1e-5)
        assert ntc_c(ohm) == pytest.approx(celsius, abs=2e-3)


def test_the_signatures_are_those_of_the_reference() -> None:
    """As the reference prints them; of the platinum sensor the library says that there is no temperature at all."""
    assert platinum_c(0.0) == pytest.approx(-246.86, abs=0.01)
    shown = {1022: -42.4, 1021: -32.7, 1013: -6.4, 1: 938.0, 2: 725.0}
    assert {counts: counts_c(counts, 1023) for counts in shown} == pytest.approx(shown, abs=0.5)
    twelve = {4094: -59.7, 4093: -51.4, 4085: -29.4, 1: 1835.0}
    assert {counts: counts_c(counts, 4095) for counts in twelve} == pytest.approx(twelve, abs=0.5)
    assert [ntc_c(ohm) for ohm in (1e6, 1e7, 1e9)] == pytest.approx([-19.1, -51.9, -97.3], abs=0.05)
    assert [ntc_c(ohm) for ohm in (1.0, 0.5, 0.2, 0.17, 0.1)] == pytest.approx([2003.0, 3517.0, 31_076.0, -108_441.0, -7238.0], rel=1e-3)
    for ohm in (0.0, 10.0, 18.5, 390.5, 400.0, inf):
        with pytest.raises(ValueError, match="esistance"):
            pt100.resistance_to_celsius(ohm)


@pytest.mark.parametrize("kind", HOLDS_C)
@pytest.mark.parametrize("name", SIGNATURES)
def test_an_open_or_shorted_sensor_is_cut_within_seconds(kind: str, name: str) -> None:
    check, after_s = cut_after_s(kind, SIGNATURES[name])
    assert check in {"out of range", "ceiling"}
    assert after_s <= 5.0


@pytest.mark.parametrize("kind", HOLDS_C)
@pytest.mark.parametrize("name", ABSURD)
def test_what_is_no_temperature_at_all_is_silence_and_cut_as_such(kind: str, name: str) -> None:
    check, after_s = cut_after_s(kind, ABSURD[name])
    assert check == "no readings"
    assert after_s <= 46.0


@pytest.mark.parametrize("kind", HOLDS_C)
@pytest.mark.parametrize("name", PLAUSIBLE)
def test_a_sensor_that_shows_a_plausible_cold_is_cut_because_heating_does_nothing(kind: str, name: str) -> None:
    check, after_s = cut_after_s(kind, PLAUSIBLE[name])
    assert check in {"no response", "stuck", "out of range"}
    assert after_s <= WITHIN_S


@pytest.mark.parametrize("kind", HOLDS_C)
def test_a_transmitter_that_failed_high_is_cut(kind: str) -> None:
    """NAMUR NE 43, 21 mA over 0 to 300 degC: above the ceiling of either."""
    check, after_s = cut_after_s(kind, loop_c(21.0))
    assert check in {"out of range", "ceiling"}
    assert after_s <= 5.0


@pytest.mark.parametrize(("kind", "shown_c"), [("bed", 110.0), ("bed", 20.0), ("hotend", 275.0), ("hotend", 20.0)])
def test_temperatures_at_which_such_heaters_work_are_no_signature(kind: str, shown_c: float) -> None:
    """The bounds must not reach into what is normal; the library agrees that these are temperatures."""
    plan = plans.heater(kind, interval_s=3.0)
    engine = Engine(plans.site(PrinterPlan("anvil", (plan,), ("plug",))), 0.0)
    measured_c = platinum_c(pt100.celsius_to_resistance(shown_c))
    out = [engine.feed(Reading("anvil", kind, float(second), measured_c + 0.1 * (second % 3), shown_c)) for second in range(1, 300)]
    assert [event for part in out for event in events(part, "trip")] == []
