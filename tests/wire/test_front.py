"""Messages of the second socket: what is well formed comes through whole, and whatever is not gets a sentence."""

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.wire.control import decode_reply
from watchdog.wire.front import (
    MAX_LINE,
    MOST_READINGS,
    SCOPE_OF,
    SCOPES,
    FrontRequest,
    Refused,
    decode_front_request,
    encode_front_request,
    encode_refusal,
)

TOKEN = "hw_" + 43 * "x"
ACT = {"token": TOKEN, "printer": "anvil", "person": "Ada", "reason": "it smells"}
GOOD = [
    FrontRequest("readiness"),
    FrontRequest("verify", TOKEN),
    FrontRequest("status", TOKEN),
    FrontRequest("readings", TOKEN, readings=[{"printer": "anvil", "heater": "bed", "temperature_c": 61.25}]),
    FrontRequest("trip", TOKEN, "anvil", "Ada", "it smells"),
    FrontRequest("reset", TOKEN, "anvil", "Ada", "it smells", unread=True, vouched=True),
]
values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)
)


@pytest.mark.parametrize("request_", GOOD, ids=lambda request: request.ask)
def test_what_is_encoded_is_decoded_again(request_: FrontRequest) -> None:
    line = encode_front_request(request_)
    assert line.count(b"\n") == 1
    assert decode_front_request(line) == request_


def test_every_request_has_its_scope_and_no_scope_is_without_request() -> None:
    assert {request.ask for request in GOOD} == set(SCOPE_OF)
    assert {scope for scope in SCOPE_OF.values() if scope} == set(SCOPES)


def said(**request: object) -> str:
    found = decode_front_request(orjson.dumps(request))
    assert isinstance(found, Refused)
    assert found.kind == "bad request"
    return found.error


def test_what_is_wrong_is_said() -> None:
    assert "one of readiness" in said(ask="bypass")
    assert "one of readiness" in said(ask=["trip"])
    assert "allowed: ask, token" in said(ask="status", token=TOKEN, printer="anvil")
    assert said(ask="reset", **ACT, unread=1) == "unread must be true or false"
    assert said(ask="status", token=7) == "token must be a text"
    assert said(ask="trip", token=TOKEN, printer="anvil") == "trip needs person, reason"
    assert "name of a person and a reason" in said(ask="trip", **(ACT | {"reason": " "}))
    assert said(ask="readings", token=TOKEN) == "readings needs readings"
    assert said(ask="readings", token=TOKEN, readings=[{}] * (MOST_READINGS + 1)).startswith("at most 500 readings")


def test_a_token_is_repeated_in_no_sentence_and_in_no_representation() -> None:
    assert TOKEN not in repr(FrontRequest("status", TOKEN))
    assert TOKEN not in said(**{"ask": "status", "token": TOKEN, TOKEN: 1})
    assert TOKEN not in said(ask=TOKEN, token=TOKEN)
    assert TOKEN not in said(ask="trip", **(ACT | {"printer": [TOKEN]}))


@given(st.binary())
def test_any_bytes_are_a_request_or_refused(line: bytes) -> None:
    assert isinstance(decode_front_request(line), FrontRequest | Refused)


@given(st.dictionaries(st.sampled_from(["ask", "token", "printer", "person", "reason", "readings"]) | st.text(), values))
def test_any_object_is_a_request_or_refused(value: dict[str, object]) -> None:
    line = orjson.dumps(value, option=orjson.OPT_NON_STR_KEYS)
    assert isinstance(decode_front_request(line), FrontRequest | Refused)


@pytest.mark.parametrize("line", [b"[" * 100_000, b"null", b'{"ask":"status","token":NaN}', b"\xff\xfe", b" " * (MAX_LINE + 1)], ids=len)
def test_lines_that_others_choke_on_are_refused(line: bytes) -> None:
    assert isinstance(decode_front_request(line), Refused)


def test_a_refusal_is_a_reply() -> None:
    assert decode_reply(encode_refusal(Refused("busy", "wait"))) == {"ok": False, "error": "wait", "kind": "busy"}
