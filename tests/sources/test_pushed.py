"""What clients push: taken or refused item by item, as strictly as what comes over MQTT."""

import threading
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watchdog.core.inputs import Reading, SourceReport
from watchdog.guard.inbox import LANE_LIMIT, Inbox
from watchdog.settings.assemble import FED
from watchdog.sources.pushed import PUSHED, PushedSource, Refusal

WALL_S = 1_764_000_000.0
WAYS = {
    ("anvil", "bed", ""): "pushed through the front",
    ("anvil", "bed", "glued"): "pushed through the front",
    ("anvil", "", ""): "pushed through the front",
    ("bramble", "bed", ""): "over MQTT",
    ("bramble", "", ""): "polled",
}
BED = {"printer": "anvil", "heater": "bed"}


@pytest.fixture
def pushed(heard: Any) -> PushedSource:
    return PushedSource(WAYS, heard, lambda: 100.0, lambda: WALL_S, link="pushed readings")


def why(pushed: PushedSource, **item: Any) -> str:
    """Why the one item was refused, wholly or in part."""
    _, refusals = pushed.take([{**BED, **item}])
    return refusals[0].why if refusals else ""


def test_the_settings_call_this_way_the_same() -> None:
    assert FED["pushed"] == PUSHED


def test_good_items_become_readings_of_the_moment_they_came(pushed: PushedSource, heard: Any) -> None:
    items: list[Any] = [
        {**BED, "temperature_c": 61.25, "target_c": 60, "duty": 0.4, "power_w": 310},
        {**BED, "temperature_c": 60, "sensor": "glued", "time": "2025-11-24T16:00:00Z"},
        {**BED, "temperature_c": 61.5, "target_c": None},
        {"printer": "anvil", "heater": None, "power_w": 41.5},
        {"printer": "anvil", "power_w": 42.0},
    ]
    assert pushed.take(items) == (5, [])
    assert list(heard.readings) == [
        Reading("anvil", "bed", 100.0, 61.25, 60.0, 0.4, 310.0),
        Reading("anvil", "bed", 100.0, 60.0, sensor="glued"),
        Reading("anvil", "bed", 100.0, 61.5, target_unknown=True),
        Reading("anvil", "", 100.0, power_w=41.5),
        Reading("anvil", "", 100.0, power_w=42.0),
    ]
    assert (pushed.accepted, pushed.refused) == (5, 0)


def test_row_f27_a_replayed_item_is_no_new_evidence(pushed: PushedSource, heard: Any) -> None:
    batch = [{**BED, "temperature_c": 61.0 + place, "time": WALL_S - 10 + place} for place in range(3)]
    assert pushed.take(batch)[0] == 3
    assert pushed.take(batch) == (0, [Refusal(place, "already had: not newer than the last one of this heater") for place in range(3)])
    assert len(heard.readings) == 3
    assert not heard.unusable
    assert pushed.take([{**BED, "sensor": "glued", "temperature_c": 61.0, "time": WALL_S - 9}])[0] == 1, "another voice has its own"


def test_row_f27_a_time_in_the_future_is_refused_and_only_the_time_of_receipt_is_used(pushed: PushedSource, heard: Any) -> None:
    assert why(pushed, temperature_c=61.0, time=WALL_S + 5.1).startswith("time is 5 s ahead of this computer's clock")
    assert why(pushed, temperature_c=61.0, time=WALL_S + 4.9) == ""
    assert why(pushed, temperature_c=61.0, time=WALL_S + 4.95) == "", "and what was refused counts for nothing"
    assert [reading.at for reading in heard.readings] == [100.0, 100.0]


@pytest.mark.parametrize(
    ("item", "says"),
    [
        ({**BED, "printer": "anvli", "temperature_c": 1}, "anvli/bed is not in the settings; pushed are anvil/bed, anvil/bed/glued, "),
        ({**BED, "heater": "bad", "temperature_c": 1}, "anvil/bad is not in the settings"),
        ({**BED, "sensor": "glue", "temperature_c": 1}, "anvil/bed/glue is not in the settings"),
        ({"printer": "bramble", "heater": "bed", "temperature_c": 1}, "bramble/bed is over MQTT, not pushed"),
        ({"printer": "bramble", "power_w": 1}, "the meter of bramble is polled, not pushed"),
        ({"printer": "anvil", "temperature_c": 61.0, "power_w": 3}, "temperature_c without a heater"),
        ({"heater": "bed", "temperature_c": 61.0}, "printer must be a text"),
        ({"printer": "anvil", "heater": [], "power_w": 61.0}, "printer must be a text"),
        ({"printer": ["anvil"], "heater": "bed", "temperature_c": 61.0}, "printer must be a text"),
        ({**BED, "temprature_c": 61.0}, '"temprature_c" is no key of a reading; allowed: printer, heater, '),
        ("61.0", "not an object"),
        (None, "not an object"),
    ],
)
def test_row_f27_only_what_the_settings_call_pushed_is_taken(pushed: PushedSource, heard: Any, item: Any, says: str) -> None:
    accepted, refusals = pushed.take([item])
    assert accepted == 0
    assert says in refusals[0].why
    assert not heard.readings
    assert not heard.unusable, "nobody's heater is to blame"


@pytest.mark.parametrize("time", ["yesterday", "2025-11-24T16:00:00", True, [], float("nan"), 10**400, "9" * 5000])
def test_a_time_that_is_none_is_refused(pushed: PushedSource, heard: Any, time: Any) -> None:
    assert "is none; allowed: ISO 8601" in why(pushed, temperature_c=61.0, time=time)
    assert not heard.readings


@pytest.mark.parametrize("value", [True, "61.2", float("nan"), float("inf"), None, [], {}, 5000, -300, 10**30])
def test_row_f28_what_is_no_number_is_no_reading_and_counted(pushed: PushedSource, heard: Any, value: Any) -> None:
    assert why(pushed, temperature_c=value)
    assert not heard.readings
    assert [item.heater for item in heard.unusable] in ([["bed"], []] if value == 10**30 else [["bed"]])


def test_of_an_item_that_is_good_in_part_the_good_part_is_taken_and_the_rest_told(pushed: PushedSource, heard: Any) -> None:
    accepted, refusals = pushed.take([{**BED, "temperature_c": 180.0, "duty": 40}])
    assert accepted == 1
    assert refusals == [Refusal(0, "duty 40 is beyond anything real; the rest was taken")]
    assert heard.temperatures() == [180.0]
    assert len(heard.unusable) == 1


def test_the_way_is_open_from_the_start(pushed: PushedSource, heard: Any) -> None:
    pushed.start()
    pushed.tend()
    assert heard.links == [SourceReport("pushed readings", 100.0, connected=True)]
    assert pushed.stop()


def test_row_f27_a_flood_of_one_heater_is_bounded_and_starves_no_other() -> None:
    inbox = Inbox()
    inbox.watch([("anvil", "bed"), ("cinder", "bed")])
    source = PushedSource({("anvil", "bed", ""): PUSHED, ("cinder", "bed", ""): PUSHED}, inbox, lambda: 1.0, lambda: WALL_S)
    flood = [{**BED, "temperature_c": 61.0}] * 500
    clients = [threading.Thread(target=lambda: [source.take(flood) for _ in range(4)]) for _ in range(4)]
    for client in clients:
        client.start()
    source.take([{"printer": "cinder", "heater": "bed", "temperature_c": 42.0}])
    for client in clients:
        client.join(10)
    waiting = list(inbox.readings(100_000, 2.0))
    assert [item.printer for item in waiting].count("anvil") <= LANE_LIMIT
    assert [item.printer for item in waiting].count("cinder") == 1
    assert source.accepted == 4 * 4 * 500 + 1
    assert inbox.dropped >= 4 * 4 * 500 - LANE_LIMIT


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.dictionaries(
            st.sampled_from(["printer", "heater", "sensor", "temperature_c", "target_c", "duty", "power_w", "time", "x"]),
            JSON | st.sampled_from(["anvil", "bed", "glued"]),
        )
        | JSON,
        max_size=5,
    )
)
def test_whatever_is_pushed_is_taken_or_refused_in_a_printable_sentence(items: list[Any]) -> None:
    class Nobody:
        def reading(self, item: Any) -> None: ...

        def report(self, report: Any) -> None: ...

    accepted, refusals = PushedSource(WAYS, Nobody(), lambda: 1.0, lambda: WALL_S).take(items)
    assert accepted + len({refusal.index for refusal in refusals}) >= len(items)
    assert all(refusal.why.isprintable() and len(refusal.why) < 500 for refusal in refusals)
