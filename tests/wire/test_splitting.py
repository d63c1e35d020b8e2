from typing import Any

import jsonpointer
from hypothesis import given
from hypothesis import strategies as st

from watchdog.wire.numbers import decimal
from watchdog.wire.splitting import ABSENT, follow, pointer_steps

keys = st.sampled_from(["a", "b", "0", "1", "", "a/b", "m~n", "01", "-1", "è"])
documents = st.recursive(
    st.none() | st.integers() | st.text(max_size=3), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner)
)


@given(documents, st.lists(keys, max_size=4))
def test_following_a_pointer_agrees_with_the_library(document: Any, parts: list[str]) -> None:
    pointer = jsonpointer.JsonPointer.from_parts(parts)
    marker = object()
    try:
        expected = pointer.resolve(document, marker)
    except jsonpointer.JsonPointerException:
        expected = marker
    found = follow(document, pointer_steps(pointer.path))
    assert found is ABSENT if expected is marker else found == expected


@given(st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(10**20), 10**20))
def test_every_finite_number_is_read_back_from_its_own_text(number: float) -> None:
    assert decimal(repr(number)) == float(number)


@given(st.text(alphabet="0123456789+-.eE_ naif٣\t", max_size=8))
def test_only_plain_decimal_notation_counts_as_a_number(text: str) -> None:
    digits = "0123456789"
    value = decimal(text)
    if value is not None:
        assert set(text) <= set(digits + "+-.eE")
        assert set(text) & set(digits)
        assert value == float(text)
