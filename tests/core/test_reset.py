"""When a latched printer may be released, and what follows where nothing could be read."""

from math import log

import pytest
from rig.plans import heater, plug, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Input, Reading, RelayReport, Reset, Suspended, Tick, TripByHand
from watchdog.core.outputs import Event, LatchChange, Output
from watchdog.core.plan import PrinterPlan


def feed(engine: Engine, *items: Input) -> list[Output]:
    return [output for item in items for output in engine.feed(item)]


def tripped(*, confirmed: bool = True, temperature_c: float = 130.0, last_c: float = 100.0, silences: bool = True) -> Engine:
    """A bed that tripped at 3 s, its plug off at 3.5 s, last heard at 4 s."""
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",)), relays=(plug(silences=silences),)), 0.0)
    feed(engine, *(Reading("anvil", "bed", float(at), temperature_c) for at in range(4)))
    if engine.site.printers["anvil"].latch is None:
        feed(engine, TripByHand("anvil", 3.0, "Robin", "smoke"))
    if confirmed:
        feed(engine, RelayReport("plug", 3.5, state="off"))
    feed(engine, Reading("anvil", "bed", 4.0, last_c))
    return engine


def reset(at: float, *, person: str = "Robin", reason: str = "looked at it", unread: bool = False, vouched: bool = False) -> Reset:
    return Reset("anvil", at, person, reason, unread, vouched)


def told(outputs: list[Output], kind: str) -> list[str]:
    return [output.sentence for output in outputs if isinstance(output, Event) and output.kind == kind]


def latched(engine: Engine) -> bool:
    return engine.site.printers["anvil"].latch is not None


@pytest.mark.parametrize(("person", "reason"), [("", "because"), ("Robin", ""), ("  ", "because"), ("Robin", " \t")])
def test_a_reset_needs_a_person_and_a_reason(person: str, reason: str) -> None:
    engine = tripped()
    outputs = feed(engine, reset(5.0, person=person, reason=reason))
    assert "name of a person and a reason" in told(outputs, "reset refused")[0]
    assert latched(engine)


def test_what_is_not_latched_cannot_be_reset_and_nobody_is_nobody() -> None:
    engine = Engine(site(), 0.0)
    assert "nothing to reset" in told(feed(engine, reset(1.0)), "reset refused")[0]
    assert feed(engine, Reset("nobody", 2.0, "Robin", "because")) == []


def test_power_that_is_not_confirmed_off_refuses_unless_a_person_vouches() -> None:
    engine = tripped(confirmed=False)
    assert "not confirmed off" in told(feed(engine, reset(5.0)), "reset refused")[0]
    assert told(feed(engine, reset(6.0, vouched=True)), "reset") == ["reset by Robin, power vouched off by eye: looked at it"]
    assert not latched(engine)


def test_power_that_showed_again_refuses() -> None:
    engine = tripped()
    feed(engine, RelayReport("plug", 4.5, state="on"))
    assert "not confirmed off" in told(feed(engine, reset(5.0)), "reset refused")[0]


def test_a_reading_above_the_ceiling_refuses_even_those_who_vouch_and_do_not_read() -> None:
    engine = tripped(last_c=121.0)
    sentence = told(feed(engine, reset(5.0, vouched=True, unread=True)), "reset refused")[0]
    assert "reads 121.0 degC" in sentence
    assert "its ceiling is 120 degC" in sentence


@pytest.mark.parametrize("value", [-42.4, -32.7, 260.0, float("nan")])
def test_a_reading_that_no_healthy_sensor_gives_refuses(value: float) -> None:
    """-32.7 could be a winter, but it came in a second: the check that tripped on it has not changed its mind."""
    engine = tripped(temperature_c=60.0, last_c=60.0, silences=False)
    feed(engine, *(Reading("anvil", "bed", 5.0 + at, value) for at in range(3)))
    assert "not healthy" in told(feed(engine, reset(8.0)), "reset refused")[0]
    feed(engine, Reading("anvil", "bed", 9.0, 59.0))
    assert told(feed(engine, reset(10.0)), "reset")


def test_a_retained_value_allows_nothing() -> None:
    """Row F12."""
    engine = tripped()
    feed(engine, Reading("anvil", "bed", 100.0, 24.0, retained=True))
    assert "is not heard" in told(feed(engine, reset(101.0)), "reset refused")[0]


@pytest.mark.parametrize("heard_at", [4.0, 13.4])
def test_what_a_board_said_before_it_fell_silent_releases_nothing(heard_at: float) -> None:
    """Its plug takes the board down, which may talk on for ten seconds from its capacitors: hot and unread is what it is."""
    engine = tripped()
    feed(engine, Reading("anvil", "bed", heard_at, 100.0))
    sentence = told(feed(engine, reset(heard_at + 0.5)), "reset refused")[0]
    assert "bed is not heard since its power went" in sentence
    assert "hot for 88 min more" in sentence
    assert told(feed(engine, reset(heard_at + 1.0, unread=True)), "probation")


def test_what_a_heater_said_before_its_trip_releases_nothing() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",)), relays=(plug(silences=False),)), 0.0)
    feed(engine, Reading("anvil", "bed", 1.0, 100.0), TripByHand("anvil", 1.5, "Robin", "smoke"), RelayReport("plug", 1.6, state="off"))
    assert "is not heard since its power went" in told(feed(engine, reset(1.7)), "reset refused")[0]
    assert told(feed(engine, Reading("anvil", "bed", 3.0, 99.0), reset(3.1)), "reset")


def test_one_that_talks_on_although_its_plug_is_off_is_heard() -> None:
    """It is fed by another way: that is told, and what it says is how it is."""
    engine = tripped()
    assert told(feed(engine, Reading("anvil", "bed", 13.6, 60.0)), "fed another way")
    assert told(feed(engine, reset(14.0)), "reset") == ["reset by Robin: looked at it"]


def test_a_healthy_reading_releases_and_begins_to_watch_anew() -> None:
    engine = tripped(silences=False)
    outputs = feed(engine, reset(5.0))
    assert [output.latch for output in outputs if isinstance(output, LatchChange)] == [None]
    assert engine.site.heaters["anvil", "bed"].temperature_c is None
    assert engine.site.printers["anvil"].probation == "none"
    assert not [output for output in feed(engine, Tick(6.0)) if isinstance(output, LatchChange)]
    trips = told(feed(engine, *(Reading("anvil", "bed", 7.0 + at, 130.0) for at in range(4))), "trip")
    assert len(trips) == 1  # armed again


def test_an_unread_printer_is_released_when_the_cooling_curve_says_cold() -> None:
    """t = tau ln((T0 - Ta) / (Tcold - Ta)) from 100 degC and 12 K of stored heat, with the slowest hour."""
    engine = tripped()
    takes_s = 3600.0 * log((112.0 - 25.0) / (45.0 - 25.0))
    sentence = told(feed(engine, reset(3.9 + takes_s)), "reset refused")[0]
    assert "may be hot for 0 min more" in sentence
    assert "--unread" in sentence
    assert told(feed(engine, reset(4.1 + takes_s)), "reset") == ["reset by Robin, unread: looked at it"]


def test_an_unread_printer_tells_how_long_it_may_be_hot() -> None:
    engine = tripped()
    assert "hot for 80 min more" in told(feed(engine, reset(500.0)), "reset refused")[0]


def test_a_printer_never_heard_cannot_be_told_to_be_cold() -> None:
    engine = Engine(site(), 0.0)
    feed(engine, TripByHand("anvil", 1.0, "Robin", "smoke"), RelayReport("plug", 2.0, state="off"))
    assert "cannot be told" in told(feed(engine, reset(90_000.0)), "reset refused")[0]
    assert told(feed(engine, reset(90_001.0, unread=True)), "reset")


def on_probation() -> Engine:
    engine = tripped()
    outputs = feed(engine, reset(100.0, unread=True))
    assert told(outputs, "probation")
    assert engine.site.printers["anvil"].probation == "waiting"
    return engine


def test_probation_waits_for_power_however_long() -> None:
    engine = on_probation()
    assert told(feed(engine, Tick(90_000.0)), "trip") == []
    assert engine.site.printers["anvil"].probation == "waiting"


@pytest.mark.parametrize("sign", [RelayReport("plug", 200.0, state="on"), RelayReport("plug", 200.0, power_w=40.0)], ids=["echo", "meter"])
def test_probation_fails_when_power_came_back_and_no_healthy_reading(sign: RelayReport) -> None:
    engine = on_probation()
    feed(engine, sign)
    assert told(feed(engine, Tick(319.999)), "trip") == []
    outputs = feed(engine, Tick(320.0))
    assert "no healthy readings of bed" in told(outputs, "trip")[0]
    assert latched(engine)


def test_a_retained_echo_brings_no_power_back() -> None:
    engine = on_probation()
    feed(engine, RelayReport("plug", 200.0, state="on", retained=True))
    assert engine.site.printers["anvil"].probation == "waiting"


def test_probation_is_passed_by_a_healthy_reading() -> None:
    engine = on_probation()
    outputs = feed(engine, RelayReport("plug", 200.0, state="on"), Reading("anvil", "bed", 230.0, 60.0))
    assert told(outputs, "probation passed")
    assert told(feed(engine, Tick(240.0), Reading("anvil", "bed", 241.0, 60.0), Tick(250.0)), "trip") == []


def test_probation_is_not_passed_by_a_second_sensor_or_a_sick_reading() -> None:
    engine = on_probation()
    glued = [Reading("anvil", "bed", 200.0 + at, 60.0, sensor="glued") for at in range(3)]
    feed(engine, *glued)
    assert engine.site.printers["anvil"].probation == "waiting"
    outputs = feed(engine, Reading("anvil", "bed", 210.0, 121.0), Reading("anvil", "bed", 211.0, 119.0))
    assert len(told(outputs, "probation passed")) == 1


def test_every_heater_must_be_healthy_to_pass() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(), heater("hotend")), ("plug",))), 0.0)
    feed(engine, TripByHand("anvil", 1.0, "Robin", "smoke"), RelayReport("plug", 2.0, state="off"), reset(3.0, unread=True))
    feed(engine, *(Reading("anvil", "bed", 100.0 + at, 24.0, 0.0) for at in range(120)))
    outputs = feed(engine, Tick(220.0))
    assert "no healthy readings of hotend" in told(outputs, "trip")[0]


def test_a_sleep_in_probation_begins_it_anew() -> None:
    engine = on_probation()
    feed(engine, RelayReport("plug", 200.0, state="on"), Suspended(4000.0, 3790.0))
    assert told(feed(engine, Tick(4119.0)), "trip") == []
    assert told(feed(engine, Tick(4120.0)), "trip")


def test_a_new_trip_ends_probation() -> None:
    engine = on_probation()
    feed(engine, TripByHand("anvil", 150.0, "Robin", "smoke again"))
    assert engine.site.printers["anvil"].probation == "none"
    assert told(feed(engine, Tick(2000.0)), "trip") == []
