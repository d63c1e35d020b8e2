"""The power logic while a latch stands: repeats, signs of life, several heaters and printers."""

from itertools import pairwise

import pytest
from rig.feeding import events, feed, orders, readings, verdict
from rig.plans import heater, plug, site, workshop
from rig.two_relays import BED_ONLY, tripped, two_relays

from watchdog.core.engine import Engine
from watchdog.core.inputs import Reading, RelayReport, Reset, Tick, TripByHand
from watchdog.core.latch import Latch
from watchdog.core.outputs import LatchChange
from watchdog.core.plan import PrinterPlan


def test_off_is_repeated_ever_more_slowly_as_the_evidence_grows() -> None:
    engine = tripped(two_relays(plug("first", has_meter=True)))
    times: list[float] = []

    def watch(until: int) -> None:
        while engine.now < until:
            times.extend(engine.now for order in orders(feed(engine, Tick(engine.now + 1.0))) if order == "first")

    feed(engine, RelayReport("first", 10.0, sent=True, order=1))
    watch(17)
    assert times == [12.0, 14.0, 16.0]
    feed(engine, RelayReport("first", 17.5, state="off"), RelayReport("first", 17.6, power_w=0.0))
    times.clear()
    watch(200)
    assert times[0] <= 20.0
    assert [b - a for a, b in pairwise(times)] == pytest.approx([60.0, 60.0, 60.0])


@pytest.mark.parametrize("sign", [RelayReport("first", 20.0, state="on"), RelayReport("first", 20.0, power_w=300.0)], ids=["echo", "meter"])
def test_a_sign_of_life_is_answered_in_the_same_feed_and_undoes_the_proof(sign: RelayReport) -> None:
    """Rows F68, F69, F75."""
    engine = tripped(two_relays(plug("first", has_meter=True)))
    feed(engine, RelayReport("first", 10.2, state="off", power_w=0.0), Tick(19.99))
    assert verdict(engine) == "proven"
    outputs = feed(engine, sign)
    assert orders(outputs) == ["first"]
    assert [event.kind for event in events(outputs, "sign of life")] == ["sign of life"]
    assert verdict(engine) == "cutting"


def test_a_sign_of_life_outweighs_the_cooling_that_was_seen_before() -> None:
    engine = tripped(two_relays())
    feed(engine, RelayReport("first", 10.2, state="off"), *readings(10.5, *(130.0 - place for place in range(30)), step=0.3))
    assert verdict(engine) == "proven"
    feed(engine, RelayReport("first", 20.0, state="on"))
    assert verdict(engine) == "cutting"
    feed(engine, *readings(20.5, 101.0, 101.5, 102.0))
    assert verdict(engine) == "cutting"


def test_a_temperature_that_rises_after_it_had_cooled_is_a_sign_of_life() -> None:
    """Power comes back behind a relay that goes on saying off: nobody but the bed can tell."""
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"), *readings(10.5, *(130.0 - place for place in range(70)), step=0.1))
    assert verdict(engine) == "proven"
    feed(engine, *readings(30.0, *(61.0 + place for place in range(13)), step=0.1))
    outputs = feed(engine, *readings(31.3, 74.0, 75.0, step=0.1))
    assert orders(outputs) == ["first", "second"]
    assert verdict(engine) == "cutting"


def test_a_warm_day_is_no_sign_of_life() -> None:
    engine = tripped(two_relays(BED_ONLY))
    feed(engine, RelayReport("first", 10.2, state="off"), *readings(10.5, *(130.0 - place for place in range(115)), step=0.05))
    assert verdict(engine) == "proven"
    outputs = feed(engine, *readings(20.0, *(15.0 + 0.5 * place for place in range(50)), step=1.0))  # up to 39.5: cold
    assert "second" not in orders(outputs)


def test_readings_that_go_on_behind_a_relay_that_feeds_the_board_are_fed_another_way() -> None:
    engine = tripped(two_relays())
    feed(engine, RelayReport("first", 10.2, state="off"))
    outputs = feed(engine, *readings(11.0, *(129.5 - 0.01 * place for place in range(20))))
    assert [event.kind for event in events(outputs, "fed another way")] == ["fed another way"]
    assert "second" in orders(outputs)


def test_a_relay_that_comes_back_into_reach_is_commanded_at_once() -> None:
    """Row F67."""
    engine = two_relays()
    feed(engine, RelayReport("first", 1.0, reachable=False), RelayReport("second", 1.0, reachable=False))
    tripped(engine)
    feed(engine, Tick(600.5))
    outputs = feed(engine, RelayReport("first", 600.6, reachable=True))
    assert orders(outputs) == ["first"]
    feed(engine, RelayReport("first", 600.9, state="off"))
    assert verdict(engine) == "confirmed"
    assert engine.site.power.cuts["anvil"].failure == ""


def test_a_further_heater_that_no_open_relay_feeds_gets_the_next_one() -> None:
    """The contactor of the bed is open and confirmed; then the hotend runs away."""
    engine = Engine(workshop(), 0.0)
    feed(engine, *readings(0.0, *[130.0] * 4), RelayReport("contactor", 3.5, state="off"))
    assert verdict(engine) == "confirmed"
    feed(engine, *(Reading("anvil", "hotend", 4.0 + place, 300.0) for place in range(2)), Tick(5.9))
    outputs = feed(engine, Reading("anvil", "hotend", 6.0, 300.0))
    assert orders(outputs) == ["anvil-plug"]
    assert [event.kind for event in events(outputs, "also")] == ["also"]
    assert verdict(engine) == "cutting"
    change = next(output for output in outputs if isinstance(output, LatchChange))
    assert change.latch is not None
    assert (change.latch.heater, change.latch.relays) == ("bed", ("contactor", "anvil-plug", "table-plug"))
    feed(engine, RelayReport("contactor", 8.0, state="off"))
    assert verdict(engine) == "cutting"  # it says nothing about the hotend
    feed(engine, RelayReport("anvil-plug", 8.5, state="off", power_w=0.0))
    assert verdict(engine) == "proven"


def test_a_further_heater_behind_the_same_relay_gets_no_new_one() -> None:
    engine = Engine(workshop(), 0.0)
    feed(engine, *(Reading("anvil", "hotend", float(place), 300.0) for place in range(4)))
    assert "contactor" not in orders(feed(engine, *readings(4.0, *[130.0] * 4)))


def test_a_cut_by_hand_takes_the_whole_printer_even_where_only_a_heater_was_cut() -> None:
    engine = Engine(workshop(), 0.0)
    feed(engine, *readings(0.0, *[130.0] * 4), RelayReport("contactor", 3.5, state="off"))
    feed(engine, Tick(5.0))
    assert orders(feed(engine, TripByHand("anvil", 5.0, "Robin", "smoke"))) == ["anvil-plug"]  # the contactor is open


def test_a_cut_by_hand_of_a_printer_with_nothing_but_a_heaters_own_relay_uses_that() -> None:
    engine = Engine(site(PrinterPlan("anvil", (heater(relays=("plug",)),), ())), 0.0)
    assert orders(feed(engine, TripByHand("anvil", 5.0, "Robin", "smoke"))) == ["plug"]


def test_a_cut_by_hand_opens_the_relays_of_single_heaters_as_well_but_only_the_printers_own_can_show_it() -> None:
    engine = Engine(workshop(), 0.0)
    outputs = feed(engine, TripByHand("anvil", 5.0, "Robin", "smoke"))
    assert orders(outputs) == ["anvil-plug", "contactor"]
    change = next(output for output in outputs if isinstance(output, LatchChange))
    assert change.latch is not None
    assert set(change.latch.relays) == set(change.latch.addresses) == {"anvil-plug", "contactor", "table-plug"}
    feed(engine, RelayReport("contactor", 5.5, state="off"))
    assert verdict(engine) == "cutting"
    outputs = feed(engine, RelayReport("anvil-plug", 6.0, sent=False, order=1, why="not connected"))
    assert orders(outputs) == ["table-plug"]
    feed(engine, RelayReport("table-plug", 6.5, state="off"))
    assert verdict(engine) == "confirmed"
    feed(engine, Reset("anvil", 7.0, "Robin", "it was steam", unread=True))
    assert orders(feed(engine, Tick(100.0))) == []


def apart() -> Engine:
    """Bed and hotend have a relay each, and none cuts the whole printer."""
    heaters = (heater(relays=("bed-relay",)), heater("hotend", relays=("hotend-relay",)))
    return Engine(site(PrinterPlan("anvil", heaters, ()), relays=(plug("bed-relay"), plug("hotend-relay"))), 0.0)


def test_where_no_relay_cuts_the_whole_printer_a_cut_by_hand_opens_all_and_all_must_confirm() -> None:
    engine = apart()
    assert orders(feed(engine, TripByHand("anvil", 5.0, "Robin", "smoke"))) == ["bed-relay", "hotend-relay"]
    feed(engine, RelayReport("bed-relay", 5.5, state="off"))
    assert verdict(engine) == "cutting"
    feed(engine, RelayReport("hotend-relay", 6.0, state="off"))
    assert verdict(engine) == "confirmed"
    feed(engine, RelayReport("hotend-relay", 7.0, state="on"))
    assert verdict(engine) == "cutting"


@pytest.mark.parametrize("fails", ["bed-relay", "hotend-relay"])
def test_one_of_them_that_fails_is_a_cut_that_failed(fails: str) -> None:
    engine = apart()
    feed(engine, TripByHand("anvil", 5.0, "Robin", "smoke"))
    feed(engine, *(RelayReport(name, 5.5, state="off") for name in ("bed-relay", "hotend-relay") if name != fails))
    told = events(feed(engine, Tick(30.0)), "cut not confirmed")
    assert verdict(engine) == "not confirmed"
    assert f"relay {fails} did not" in told[0].sentence


def test_a_cut_by_hand_after_one_of_a_heater_opens_the_other_ones_relay() -> None:
    engine = apart()
    feed(engine, *readings(0.0, *[130.0] * 4), RelayReport("bed-relay", 3.5, state="off"))
    assert verdict(engine) == "confirmed"
    assert orders(feed(engine, TripByHand("anvil", 4.0, "Robin", "smoke"))) == ["hotend-relay"]
    assert verdict(engine) == "cutting"
    feed(engine, RelayReport("hotend-relay", 4.5, state="off"))
    assert verdict(engine) == "confirmed"


@pytest.mark.parametrize("check", ["by hand", ""], ids=["by hand", "its record is lost"])
def test_a_latch_of_a_whole_printer_that_is_found_at_the_start_opens_all_of_it(check: str) -> None:
    engine = apart()
    outputs = engine.start([Latch("anvil", "old/1", "", check, "smoke", ("bed-relay", "hotend-relay"))])
    assert orders(outputs) == ["bed-relay", "hotend-relay"]
    feed(engine, RelayReport("bed-relay", 0.5, state="off"))
    assert verdict(engine) == "cutting"
    whole = Engine(workshop(), 0.0)
    assert orders(whole.start([Latch("anvil", "old/1", "", check, "smoke", ("contactor", "anvil-plug", "table-plug"))])) == [
        "anvil-plug",
        "contactor",
    ]


def test_a_failed_probation_cuts_every_heater_that_was_not_heard() -> None:
    engine = apart()
    feed(engine, *(Reading("anvil", name, 1.0, 24.0, 0.0) for name in ("bed", "hotend")), TripByHand("anvil", 2.0, "Robin", "smoke"))
    feed(engine, *(RelayReport(name, 3.0, state="off") for name in ("bed-relay", "hotend-relay")))
    feed(engine, Reset("anvil", 100.0, "Robin", "steam", unread=True), RelayReport("bed-relay", 110.0, state="on"))
    outputs = feed(engine, Tick(231.0))
    assert [event.check for event in events(outputs, "trip")] == ["probation"]
    assert orders(outputs)[:2] == ["bed-relay", "hotend-relay"]


def test_a_reset_does_not_release_a_relay_that_another_latch_wants_off() -> None:
    plan = site(*(PrinterPlan(name, (heater(printer=name),), ("plug",)) for name in ("anvil", "bramble")))
    engine = Engine(plan, 0.0)
    feed(engine, *(Reading(name, "bed", 1.0, 24.0, 0.0) for name in ("anvil", "bramble")))
    feed(engine, TripByHand("anvil", 2.0, "Robin", "smoke"), TripByHand("bramble", 3.0, "Kim", "smoke too"))
    feed(engine, RelayReport("plug", 4.0, state="off"), Reset("anvil", 5.0, "Robin", "it was steam"))
    assert engine.site.printers["anvil"].latch is None
    assert "plug" in orders(feed(engine, Tick(15.0)))
    assert engine.site.heaters["anvil", "bed"].darkened
    feed(engine, RelayReport("plug", 16.0, state="off"), Reset("bramble", 17.0, "Kim", "steam"))
    assert orders(feed(engine, Tick(100.0))) == []
    assert engine.site.power.deadline() == float("inf")


def test_a_latch_found_at_the_start_is_obeyed_before_anything_is_heard() -> None:
    engine = two_relays()
    outputs = engine.start([Latch("anvil", "old/1", "bed", "ceiling", "it was hot", ("first", "second"), temperature_c=130.0)])
    assert orders(outputs) == ["first"]
    assert not [output for output in outputs if isinstance(output, LatchChange)]
    assert "second" in orders(feed(engine, Tick(10.0)))
    assert engine.site.printers["anvil"].latch is not None
