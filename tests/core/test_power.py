"""The power logic: which relay is commanded when, and what counts as evidence."""

import pytest
from rig.feeding import events, feed, orders, readings, verdict
from rig.plans import heater, plug, site, workshop
from rig.two_relays import BED_ONLY, tripped, two_relays

from watchdog.core.engine import Engine
from watchdog.core.inputs import RelayReport, Reset, Tick, TripByHand
from watchdog.core.outputs import Event
from watchdog.core.plan import PrinterPlan


def test_the_first_relay_is_commanded_at_once_and_the_second_waits() -> None:
    engine = two_relays()
    outputs = feed(engine, *readings(0.0, 130.0, 130.0, 130.0, 130.0))
    assert orders(outputs) == ["first"]


def test_a_heaters_own_relay_comes_before_the_printers() -> None:
    engine = Engine(workshop(), 0.0)
    outputs = feed(engine, *readings(0.0, 130.0, 130.0, 130.0, 130.0))
    assert orders(outputs) == ["contactor"]
    assert engine.site.power.cuts["anvil"].relays == ("contactor", "anvil-plug", "table-plug")


def test_an_echo_that_does_not_come_brings_the_second_relay_at_its_deadline() -> None:
    engine = tripped(two_relays())
    assert "second" not in orders(feed(engine, RelayReport("first", 10.1, sent=True, order=1), Tick(14.999)))
    outputs = feed(engine, Tick(15.0))
    assert "second" in orders(outputs)
    assert [event.kind for event in events(outputs, "relay failed", "next relay")] == ["relay failed", "next relay"]


def test_a_command_that_does_not_leave_brings_the_second_relay_in_two_seconds_and_a_refusal_at_once() -> None:
    assert "second" in orders(feed(tripped(two_relays()), Tick(12.0)))
    outputs = feed(tripped(two_relays()), RelayReport("first", 10.2, sent=False, order=1, why="refused"))
    assert orders(outputs) == ["second"]
    assert any("refused" in output.sentence for output in outputs if isinstance(output, Event))


def test_a_relay_known_out_of_reach_is_commanded_and_the_next_one_with_it() -> None:
    engine = two_relays()
    feed(engine, RelayReport("first", 1.0, reachable=False, why="no route"))
    outputs = feed(engine, *readings(2.0, 130.0, 130.0, 130.0, 130.0))
    assert orders(outputs) == ["first", "second"]


def test_a_confirmed_first_relay_leaves_the_second_alone() -> None:
    engine = tripped(two_relays())
    feed(engine, RelayReport("first", 10.3, state="off"))
    assert verdict(engine) == "confirmed"
    assert "second" not in orders(feed(engine, *readings(10.5, 130.0, 131.0), Tick(25.0)))


def test_a_relay_that_failed_another_latch_is_not_waited_for_again() -> None:
    """A shared relay that is welded: the second printer goes on to its next relay at once."""
    shared, spare = plug("shared"), plug("spare")
    plan = site(
        PrinterPlan("anvil", (heater(),), ("shared",)),
        PrinterPlan("bramble", (heater(printer="bramble"),), ("shared", "spare")),
        relays=(shared, spare),
    )
    engine = tripped(Engine(plan, 0.0))
    feed(engine, Tick(20.0))
    assert verdict(engine) == "not confirmed"
    outputs = feed(engine, TripByHand("bramble", 21.0, "Robin", "smoke"))
    assert orders(outputs) == ["shared", "spare"]
    outputs = feed(tripped(Engine(plan, 0.0)), Tick(20.0), TripByHand("anvil", 21.0, "Robin", "smoke"))
    assert "spare" not in orders(outputs)


def test_a_printer_without_a_relay_says_so_loudly_and_again() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(),), ())), 0.0)
    outputs = feed(engine, *readings(0.0, 130.0, 130.0, 130.0, 130.0), Tick(130.0))
    assert [event.kind for event in events(outputs, "cut not confirmed")] == ["cut not confirmed"] * 3
    assert verdict(engine) == "not confirmed"


def test_both_relays_fail_and_it_is_said_every_minute_while_both_are_commanded_on() -> None:
    engine = tripped(two_relays())
    outputs = feed(engine, *(Tick(10.0 + at) for at in range(1, 190)))
    said = [output.at for output in outputs if isinstance(output, Event) and output.kind == "cut not confirmed"]
    assert said == [14.0, 74.0, 134.0, 194.0]  # two seconds for each command to leave
    assert orders(outputs).count("first") >= 90
    assert orders(outputs).count("second") >= 90


@pytest.mark.parametrize(
    "report",
    [
        RelayReport("first", 9.5, state="off"),
        RelayReport("first", 10.0, state="off"),
        RelayReport("first", 10.5, state="off", retained=True),
        RelayReport("first", 10.5, sent=True, order=1),
        RelayReport("first", 10.5, reachable=True),
    ],
    ids=["an older echo", "an echo of the same moment", "a retained echo", "a command sent", "in reach"],
)
def test_what_is_no_evidence_of_power_off(report: RelayReport) -> None:
    engine = tripped(two_relays())
    feed(engine, report)
    assert verdict(engine) == "cutting"
    assert "second" in orders(feed(engine, Tick(15.1)))


def test_an_echo_from_before_the_trip_does_not_confirm_it() -> None:
    engine = two_relays()
    feed(engine, RelayReport("first", 5.0, state="off"))
    tripped(engine)
    assert verdict(engine) == "cutting"


def test_the_fate_of_an_older_command_is_not_that_of_this_one() -> None:
    engine = tripped(two_relays())
    feed(engine, RelayReport("first", 10.2, state="off"), Reset("anvil", 11.0, "Robin", "it is off", vouched=True, unread=True))
    assert engine.site.printers["anvil"].latch is not None  # still hot: the reset is refused
    feed(engine, *readings(21.0, 60.0), Reset("anvil", 22.0, "Robin", "cold"), *readings(23.0, *[130.0] * 4))
    feed(engine, RelayReport("first", 26.5, sent=False, order=1, why="late word of the first trip"))
    assert engine.site.power.relays["first"].sent is None


def test_a_meter_must_agree_with_the_echo() -> None:
    """Row F66: echo off, 300 W: the next relay when the meter had its time."""
    engine = tripped(two_relays(plug("first", has_meter=True, meter_within_s=20.0)))
    feed(engine, RelayReport("first", 10.2, state="off", sent=True, order=1), RelayReport("first", 15.0, power_w=300.0))
    assert verdict(engine) == "cutting"
    assert "second" not in orders(feed(engine, Tick(29.9)))
    assert "second" in orders(feed(engine, Tick(30.0)))


def test_power_gone_by_the_meter_proves_the_cut() -> None:
    engine = tripped(two_relays(plug("first", has_meter=True)))
    outputs = feed(engine, RelayReport("first", 10.2, state="off"), RelayReport("first", 15.0, power_w=0.4))
    assert verdict(engine) == "proven"
    assert [event.kind for event in events(outputs, "cut proven")] == ["cut proven"]


def test_power_at_the_standby_limit_is_gone_and_above_it_is_not() -> None:
    for power_w, expected in ((2.0, "proven"), (2.0000001, "cutting"), (float("nan"), "cutting")):
        engine = tripped(two_relays(plug("first", has_echo=False, has_meter=True)))
        feed(engine, RelayReport("first", 11.0, power_w=power_w))
        assert verdict(engine) == expected


def test_a_welded_contact_with_a_lying_echo_is_found_by_the_temperature_that_rises() -> None:
    """Row F65: the echo says off, the bed heats on."""
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"))
    outputs = feed(engine, *readings(11.0, *(130.0 + 0.5 * place for place in range(40))))
    assert "second" in orders(outputs)
    assert [event.numbers["temperature_c"] for event in outputs if isinstance(event, Event) and event.kind == "next relay"] == [143.0]


def test_a_welded_contact_is_found_by_the_temperature_that_does_not_fall() -> None:
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"))
    outputs = feed(engine, *readings(11.0, *[130.0] * 180))
    assert [event.at for event in outputs if isinstance(event, Event) and event.kind == "next relay"] == [190.0]
    feed(engine, RelayReport("first", 191.0, state="off"))
    assert verdict(engine) == "cutting"  # the liar is not believed any more
    feed(engine, RelayReport("second", 192.0, state="off"))
    assert verdict(engine) == "confirmed"


def test_heat_stored_in_a_plate_is_no_sign_of_power() -> None:
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"))
    lifted = [130.0 + 0.3 * place for place in range(30)]
    fallen = [139.0 - 0.05 * place for place in range(100)]
    outputs = feed(engine, *readings(10.5, *lifted, *fallen, step=0.3))
    assert "second" not in orders(outputs)
    assert [event.kind for event in events(outputs, "cut proven")] == ["cut proven"]


def test_one_wild_sample_proves_nothing() -> None:
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"))
    outputs = feed(engine, *readings(11.0, 130.0, 130.0, 20.0, 130.0, 130.0, 190.0, 130.0, 130.0))
    assert verdict(engine) == "confirmed"
    assert not events(outputs, "cut proven", "next relay")
    feed(engine, *readings(19.5, 20.0, float("nan"), 130.0))
    assert verdict(engine) == "confirmed"


def test_a_relay_without_any_evidence_is_not_waited_for_beyond_the_cooling() -> None:
    engine = tripped(two_relays(plug("first", has_echo=False)))
    feed(engine, RelayReport("first", 10.1, sent=True, order=1), Tick(100.0))
    assert verdict(engine) == "cutting"
    outputs = feed(engine, Tick(190.0))
    assert "second" in orders(outputs)


def test_without_temperature_or_evidence_a_cut_by_hand_is_said_to_be_unconfirmed() -> None:
    engine = Engine(site(relays=(plug(has_echo=False),)), 0.0)
    feed(engine, TripByHand("anvil", 10.0, "Robin", "smoke"), RelayReport("plug", 10.1, sent=True, order=1))
    outputs = feed(engine, Tick(70.0))
    assert [event.kind for event in events(outputs, "cut not confirmed")] == ["cut not confirmed"]


def test_a_slow_meter_has_its_time_even_where_the_cooling_deadline_is_sooner() -> None:
    engine = two_relays(plug("first", has_meter=True, meter_within_s=75.0, silences=False), kind="hotend")
    feed(engine, *readings(10.0, *[300.0] * 3), RelayReport("first", 12.2, state="off"))
    assert "second" not in orders(feed(engine, Tick(86.9)))
    assert "second" in orders(feed(engine, Tick(87.0)))
