import math
from typing import Any

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.wire.feed import Feed, Fields, Unit
from watchdog.wire.payload import LARGEST_PAYLOAD_BYTES, Decoded, Decoder, FeedError, Kind, Rejected

DEFAULT = Decoder(Feed(topic="millbrook/anvil/bed"))


def decoder(**options: Any) -> Decoder:
    return Decoder(Feed(topic="millbrook/anvil/bed", **options))


def decoded(result: Decoded | Rejected) -> Decoded:
    assert isinstance(result, Decoded), result
    return result


def kind_of(result: Decoded | Rejected) -> Kind:
    assert isinstance(result, Rejected), result
    return result.kind


def test_the_default_message_gives_all_four_values() -> None:
    result = DEFAULT.decode(b'{"temperature_c": 61.2, "target_c": 60, "duty": 0.4, "power_w": 310, "more": []}')
    assert result == Decoded(61.2, 60.0, target_unknown=False, duty=0.4, power_w=310.0)
    assert all(type(value) is float for value in (decoded(result).target_c, decoded(result).power_w))


def test_a_bare_number_is_a_temperature() -> None:
    assert DEFAULT.decode(b" 61.2\n") == Decoded(61.2, None, target_unknown=False, duty=None, power_w=None)


def test_a_bare_number_is_nothing_once_fields_are_mapped() -> None:
    assert kind_of(decoder(fields=Fields(temperature="/bed")).decode(b"61.2")) == "no value"


@pytest.mark.parametrize(
    ("target", "target_c", "unknown"),
    [(b"null", None, True), (b"0", 0.0, False), (b"-0.0", 0.0, False), (b"-1", 0.0, False), (b"60", 60.0, False), (b'"idle"', 0.0, False)],
)
def test_null_zero_off_word_and_number_are_told_apart(target: bytes, target_c: float | None, *, unknown: bool) -> None:
    result = decoded(decoder(off_words=("idle",)).decode(b'{"temperature_c": 21, "target_c": %s}' % target))
    assert (result.target_c, result.target_unknown, result.flaw) == (target_c, unknown, None)


def test_an_absent_target_is_merely_not_reported() -> None:
    result = decoded(DEFAULT.decode(b'{"temperature_c": 21}'))
    assert (result.target_c, result.target_unknown) == (None, False)


@pytest.mark.parametrize("target", [b"true", b'"hot"', b'"60"', b"[]", b"{}", b"9999", b"-9999", b"1e300"])
def test_an_unreadable_target_is_unknown_and_never_off(target: bytes) -> None:
    result = decoded(DEFAULT.decode(b'{"temperature_c": 21, "target_c": %s}' % target))
    assert (result.temperature_c, result.target_c, result.target_unknown) == (21.0, None, True)
    assert result.flaw is not None
    assert "target" in result.flaw.why


@pytest.mark.parametrize(
    ("temperature", "kind"),
    [
        (b"null", "no value"),
        (b"true", "not a number"),
        (b'""', "not a number"),
        (b'"61.2"', "not a number"),
        (b'"210,5"', "not a number"),
        (b"[61.2]", "not a number"),
        (b'{"a": 1}', "not a number"),
        (b"3000.1", "out of bounds"),
        (b"-273.16", "out of bounds"),
        (b"1e300", "out of bounds"),
        (b"99999999999999999999999", "out of bounds"),
        (b"85", "sentinel"),
        (b"85.0", "sentinel"),
        (b"-127", "sentinel"),
    ],
)
def test_a_bad_temperature_is_left_out_and_a_good_target_kept(temperature: bytes, kind: Kind) -> None:
    target_too = decoded(decoder(not_readings=(85.0, -127.0)).decode(b'{"temperature_c": %s, "target_c": 60}' % temperature))
    assert (target_too.temperature_c, target_too.target_c) == (None, 60.0)
    assert target_too.flaw is not None
    assert target_too.flaw.kind == kind
    alone = decoder(not_readings=(85.0, -127.0)).decode(b'{"temperature_c": %s}' % temperature)
    assert kind_of(alone) == kind


@pytest.mark.parametrize("temperature", [3000.0, -273.15, 0.0])
def test_values_exactly_at_the_bounds_are_readings(temperature: float) -> None:
    assert decoded(DEFAULT.decode(orjson.dumps(temperature))).temperature_c == temperature


@pytest.mark.parametrize(
    ("unit", "value", "celsius"),
    [
        ("kelvin", 273.15, 0.0),
        ("kelvin", 373.15, 100.0),
        ("kelvin", 0.0, -273.15),
        ("fahrenheit", 32.0, 0.0),
        ("fahrenheit", 212.0, 100.0),
        ("fahrenheit", -459.67, -273.15),
        ("celsius", 100.0, 100.0),
    ],
)
def test_units_agree_with_their_definitions(unit: Unit, value: float, celsius: float) -> None:
    result = decoded(decoder(unit=unit).decode(orjson.dumps({"temperature_c": value, "target_c": value})))
    assert result.temperature_c == pytest.approx(celsius, abs=1e-9)
    assert result.target_c == pytest.approx(max(celsius, 0.0), abs=1e-9)


@pytest.mark.parametrize("unit", ["celsius", "fahrenheit", "kelvin"])
def test_a_target_of_zero_is_off_in_any_unit(unit: Unit) -> None:
    assert decoded(decoder(unit=unit).decode(b'{"target_c": 0}')).target_c == 0.0


@pytest.mark.parametrize(("unit", "absurd"), [("kelvin", -0.1), ("fahrenheit", -459.7), ("kelvin", 3001), ("fahrenheit", 3001)])
def test_absurd_values_are_judged_in_their_own_unit(unit: Unit, absurd: float) -> None:
    assert kind_of(decoder(unit=unit).decode(orjson.dumps({"temperature_c": absurd}))) == "out of bounds"


@pytest.mark.parametrize(("duty", "share"), [(0, 0.0), (255, 1.0), (127.5, 0.5), (267.75, 1.05), (268, None), (-1, None), (True, None)])
def test_duty_is_scaled_and_bounded(duty: float, share: float | None) -> None:
    result = decoded(decoder(duty_full=255.0).decode(orjson.dumps({"temperature_c": 20, "duty": duty})))
    assert result.duty == share
    assert (result.flaw is None) == (share is not None)


def test_pointers_reach_into_nested_messages() -> None:
    fields = Fields(temperature="/heaters/1/now", target="/heaters/1/want~1set", duty=None, power="")
    result = decoder(fields=fields).decode(b'{"heaters": [0, {"now": 61.2, "want/set": 60}]}')
    assert (decoded(result).temperature_c, decoded(result).target_c) == (61.2, 60.0)


def test_an_empty_pointer_takes_the_whole_message() -> None:
    fields = Fields(temperature=None, target="", duty=None, power=None)
    assert decoded(decoder(fields=fields, off_words=("off",)).decode(b'"off"')).target_c == 0.0
    assert decoded(decoder(fields=fields).decode(b"null")).target_unknown


def test_a_pointer_that_matches_nothing_is_named() -> None:
    result = decoder(fields=Fields(temperature="/bed/now", target=None, duty=None, power=None)).decode(b'{"bed": {"actual": 61.2}}')
    assert result == Rejected("no value", 'no value at pointer /bed/now: {"bed": {"actual": 61.2}}')


@pytest.mark.parametrize("text", ["61.2", "+61.2", "6.12e1", "61.20"])
def test_numbers_as_text_are_taken_where_declared(text: str) -> None:
    result = decoder(numbers_as_text=True).decode(orjson.dumps({"temperature_c": text, "target_c": text}))
    assert (decoded(result).temperature_c, decoded(result).target_c) == (61.2, 61.2)


@pytest.mark.parametrize("text", ["1_0", "٦١", "infinity", "nan", " 12 ", "12\n", "0x10", "1e999", "", "-", "210,5", "9" * 5000])
def test_texts_that_only_python_takes_for_numbers_are_refused(text: str) -> None:
    assert kind_of(decoder(numbers_as_text=True).decode(orjson.dumps({"temperature_c": text}))) == "not a number"


TORTURE = [
    (b"", "empty"),
    (b"   ", "not json"),
    (b"NaN", "not json"),
    (b"Infinity", "not json"),
    (b"1e999", "not json"),
    (b'{"temperature_c": NaN, "target_c": 60}', "not json"),
    ('{"temperature_c": 61}'.encode("utf-16"), "not json"),
    (b'\xef\xbb\xbf{"temperature_c": 61}', "not json"),
    (b"[" * 60_000, "not json"),
    (b'{"a":' * 13_000, "not json"),
    (b"9" * 5000, "not json"),
    (b"\xff\xfe\x00", "not json"),
    (b"61.2 61.3", "not json"),
    (b'{"temperature_c": 61', "not json"),
    (b"[" * 100_000, "too large"),
    (b"1" * (LARGEST_PAYLOAD_BYTES + 1), "too large"),
    (b"[]", "not a number"),
    (b"{}", "no value"),
    (b"null", "no value"),
    (b"false", "not a number"),
]


@pytest.mark.parametrize(("payload", "kind"), TORTURE)
def test_no_payload_raises(payload: bytes, kind: Kind) -> None:
    result = DEFAULT.decode(payload)
    assert kind_of(result) == kind


def test_of_a_key_given_twice_the_last_counts() -> None:
    assert decoded(DEFAULT.decode(b'{"temperature_c": 61, "temperature_c": 62}')).temperature_c == 62.0


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**63) | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["temperature_c", "target_c", "duty", "x"]), inner),
    max_leaves=12,
)


@given(value=json_values, unit=st.sampled_from(["celsius", "kelvin", "fahrenheit"]), as_text=st.booleans())
def test_every_json_value_is_used_or_rejected(value: Any, unit: Unit, *, as_text: bool) -> None:
    result = decoder(unit=unit, numbers_as_text=as_text).decode(orjson.dumps(value))
    if isinstance(result, Rejected):
        assert len(result.why) < 200
        assert result.why.isprintable()
        return
    assert any(item is not None for item in result[:2]) or result.target_unknown or result.duty is not None
    for number in (result.temperature_c, result.target_c, result.duty, result.power_w):
        assert number is None or (type(number) is float and math.isfinite(number))
    assert result.temperature_c is None or -273.1501 <= result.temperature_c <= 3000
    assert result.target_c is None or result.target_c >= 0
    assert result.target_c is None or not result.target_unknown


@given(st.binary(max_size=200))
def test_any_bytes_give_a_result_safe_to_log(payload: bytes) -> None:
    for feed in (DEFAULT, decoder(form="text", pattern="(?P<temperature>.*)")):
        result = feed.decode(payload)
        if isinstance(result, Rejected):
            assert result.why.isprintable()


def test_a_line_of_text_is_read_through_its_pattern() -> None:
    line = decoder(
        form="text", pattern=r"bed (?P<temperature>[^ ]*) of (?P<target>[^ ]*)( at (?P<duty>.*)%)?", off_words=("off",), duty_full=100.0
    )
    assert line.decode(b"bed 61.2 of 60 at 40%\r\n") == Decoded(61.2, 60.0, target_unknown=False, duty=0.4, power_w=None)
    assert line.decode(b"bed 61.2 of off") == Decoded(61.2, 0.0, target_unknown=False, duty=None, power_w=None)
    assert decoded(line.decode(b"bed 61.2 of ")).target_unknown is False
    assert kind_of(line.decode(b"bed inf of ")) == "not a number"
    assert kind_of(line.decode(b"so: bed 61.2 of 60")) == "no match"
    assert kind_of(line.decode(b"\xff\xff")) == "no match"
    assert kind_of(line.decode(b"bed " + b"6" * 5000)) == "no match"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"fields": Fields(temperature="bed")}, "JSON Pointer"),
        ({"fields": Fields(temperature=None, target=None, duty=None, power=None)}, "no field"),
        ({"form": "text", "pattern": "("}, "regular expression"),
        ({"form": "text", "pattern": "x"}, "must name"),
        ({"form": "text", "pattern": "(?P<heat>x)"}, "heat"),
        ({"form": "text"}, "must name"),
        ({"pattern": "(?P<temperature>.*)"}, "only form"),
        ({"duty_full": 0.0}, "above 0"),
        ({"duty_full": math.nan}, "above 0"),
    ],
)
def test_a_feed_that_cannot_work_is_refused_at_once(options: dict[str, Any], says: str) -> None:
    with pytest.raises(FeedError, match=says):
        decoder(**options)


def test_why_quotes_at_most_sixty_characters_and_no_control_characters() -> None:
    result = DEFAULT.decode(b"\x1b[31mgone\r\nERROR forged line " + "\u202e\u2066".encode() + b"x" * 500)
    assert isinstance(result, Rejected)
    assert result.why.isprintable()
    assert len(result.why) <= len("not JSON: ") + 60
