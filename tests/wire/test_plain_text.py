import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.wire.plain_text import printable
from watchdog.wire.topics import check_exact_topic


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("bed of anvil", "bed of anvil"),
        ("Bett müde 床", "Bett müde 床"),
        ("a\nb\r\tc", r"a\nb\r\tc"),
        ("\x1b[2J\x07\x9b", r"\x1b[2J\x07\x9b"),
        ("\u202egpj\u2066\u200b\ufeff\u2028", r"\u202egpj\u2066\u200b\ufeff\u2028"),
        (b"\xff\x00ok", r"\xff\x00ok"),
        ("\ud800", r"\ud800"),
    ],
)
def test_whatever_a_terminal_would_obey_is_escaped(text: str | bytes, shown: str) -> None:
    assert printable(text) == shown


@given(st.text() | st.binary(), st.integers(0, 80))
def test_any_text_becomes_one_short_printable_line(text: str | bytes, limit: int) -> None:
    shown = printable(text, limit)
    assert len(shown) <= limit
    assert shown.isprintable()


@given(st.text(alphabet="\x1b\u202ea", min_size=20), st.integers(8, 20))
def test_an_escape_is_never_cut_in_the_middle(text: str, limit: int) -> None:
    shown = printable(text, limit)
    assert shown.endswith("…")
    assert text.startswith(shown[:-1].encode().decode("unicode_escape"))


def test_a_huge_text_costs_no_more_than_its_beginning() -> None:
    assert printable(b"x" * 10_000_000) == "x" * 59 + "…"


@pytest.mark.parametrize("topic", ["", "a/+/b", "#", "a/#", "$share/us/a", "a\x00b", "a\nb", "x" * 65536])
def test_topics_that_name_more_or_less_than_one_are_refused(topic: str) -> None:
    with pytest.raises(ValueError, match="topic"):
        check_exact_topic(topic)


@pytest.mark.parametrize("topic", ["millbrook/anvil/bed", "/", "Küche/bed", "x" * 65535])
def test_exact_topics_pass(topic: str) -> None:
    check_exact_topic(topic)
