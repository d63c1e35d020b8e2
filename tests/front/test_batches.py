"""What clients push is cut into batches that lose nothing, and that no body can blow up."""

from typing import Any

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.front.batches import BATCH_BYTES, ITEM_BYTES, MOST_READINGS, MOST_VALUES, Pushed
from watchdog.front.problems import Problem
from watchdog.wire.front import MOST_READINGS as BATCH

JSON = "application/json"
LINES = "application/jsonl"
plain = st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20)
values = st.recursive(
    plain, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=4), max_leaves=8
)


def taken(pushed: Pushed) -> dict[int, Any]:
    """By place, all that goes to the guard."""
    found: dict[int, Any] = {}
    for batch in pushed.batches():
        line = orjson.dumps({"readings": batch.items})
        assert len(batch.places) == len(batch.items) <= BATCH
        assert len(line) < BATCH_BYTES + 1024
        found.update(zip(batch.places, orjson.loads(line)["readings"], strict=True))
    return found


@given(items=st.lists(values, max_size=30), form=st.sampled_from([JSON, LINES]))
def test_every_item_goes_to_the_guard_as_it_came_or_is_refused_by_its_place(items: list[Any], form: str) -> None:
    body = orjson.dumps(items) if form == JSON else b"\n".join(orjson.dumps(item) for item in items)
    pushed = Pushed(body, form)
    found = taken(pushed)
    assert found == {place: item for place, item in enumerate(items) if isinstance(item, dict)}
    assert [one["index"] for one in pushed.refused] == [place for place, item in enumerate(items) if not isinstance(item, dict)]
    assert pushed.count == len(items)


@given(body=st.binary(max_size=200) | st.text("[]{},:\"'0aneE+-. \n\\u", max_size=80).map(str.encode), form=st.sampled_from([JSON, LINES]))
def test_no_bytes_whatever_do_anything_but_be_taken_or_refused(body: bytes, form: str) -> None:
    try:
        pushed = Pushed(body, form)
    except Problem:
        return
    assert len(taken(pushed)) + len(pushed.refused) == pushed.count


def test_many_readings_are_cut_into_batches_in_their_order() -> None:
    items = [{"printer": "anvil", "heater": "bed", "temperature_c": place} for place in range(2 * BATCH + 1)]
    batches = list(Pushed(orjson.dumps(items), JSON).batches())
    assert [len(batch.places) for batch in batches] == [BATCH, BATCH, 1]
    assert [place for batch in batches for place in batch.places] == list(range(2 * BATCH + 1))


def test_long_readings_make_shorter_batches_and_too_long_ones_none() -> None:
    long = [{"printer": "x" * 1900}] * 200
    pushed = Pushed(orjson.dumps([*long, {"printer": "x" * ITEM_BYTES}]), JSON)
    assert len(taken(pushed)) == 200
    assert pushed.refused == [{"index": 200, "why": f"a reading has at most {ITEM_BYTES} bytes"}]


@pytest.mark.parametrize(
    ("body", "form"),
    [
        (b"[" + b"{}," * MOST_READINGS + b"{}]", JSON),
        (b"[" + b"[]," * MOST_READINGS + b"{}]", JSON),
        (b"[" + b"1," * (MOST_VALUES + 1) + b"1]", JSON),
        (b"[" * 100_000, JSON),
        (b'{"a":' * 100_000, JSON),
        (b"{}\n" * (MOST_READINGS + 1), LINES),
        (b"\n" * 8_000_000, LINES),
    ],
    ids=["objects", "lists", "numbers", "deep lists", "deep objects", "lines", "empty lines"],
)
def test_a_body_of_more_than_can_be_held_is_refused_before_it_is_decoded(body: bytes, form: str) -> None:
    with pytest.raises(Problem) as refused:
        Pushed(body, form)
    assert refused.value.name == "too-large"


def test_as_many_as_are_allowed_are_taken() -> None:
    assert len(taken(Pushed(b"[" + b"{}," * (MOST_READINGS - 1) + b"{}]", JSON))) == MOST_READINGS
    assert len(taken(Pushed(b"{}\n" * MOST_READINGS, LINES))) == MOST_READINGS


@pytest.mark.parametrize("body", [b"[NaN]", b'[{"temperature_c": Infinity}]', b"\xff\xfe", b"", b"[1e999", b"[" * 2000, b'{"a":1}{"a":2}'])
def test_what_is_not_strict_json_is_refused_as_a_whole(body: bytes) -> None:
    with pytest.raises(Problem) as refused:
        Pushed(body, JSON)
    assert refused.value.name == "bad-request"
