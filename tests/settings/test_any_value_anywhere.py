"""Whatever is put in the place of a value: it is told as a problem, or all that is made of the settings can live with it."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rig.settings_files import good_settings

from watchdog.core.engine import Engine
from watchdog.settings.assemble import feeds_by_broker, site_plan
from watchdog.settings.load import load
from watchdog.settings.protection import protection
from watchdog.wire.payload import Decoder

GOOD = Path(__file__).parent / "good"
VALUE = re.compile(r"""(?<=[\w-] = )("[^"]*"|'[^']*'|\[[^\]]*\]|\{[^}]*\}|[\d.]+|true)""")
SPOTS = [
    (str(file.relative_to(GOOD)), number) for file in sorted(GOOD.rglob("*.toml")) for number in range(len(VALUE.findall(file.read_text())))
]
WEIRD = [
    "nan",
    "-inf",
    "[]",
    "{}",
    "-1",
    "0",
    "1e400",
    "1e-320",
    "[[1]]",
    "1979-05-27",
    "12:30:00",
    "true",
    "{a=1}",
    "[nan]",
    "9223372036854775808",
    '""',
    '"a"',
    '["a"]',
    '"\\u0000"',
    '"\\u202e"',
    '"$share/a/b"',
    '"(?P<temperature>"',
    '"/"',
    '"../.."',
    '"on"',
    "[{}]",
    "{a={b={c=1}}}",
]


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One directory for all examples: each of them puts back what it changed."""
    return good_settings(tmp_path_factory.mktemp("any"))


@settings(max_examples=120, deadline=None)
@given(spot=st.sampled_from(SPOTS), value=st.sampled_from([*WEIRD, "1" + "0" * 400, "9" * 5000, "[" * 3000]))
def test_any_value_anywhere_is_a_problem_or_can_be_lived_with(shared: Path, spot: tuple[str, int], value: str) -> None:
    file = shared / spot[0]
    text = file.read_text()
    start, end = list(VALUE.finditer(text))[spot[1]].span()
    file.write_text(text[:start] + value + text[end:])
    try:
        loaded = load(shared)
    finally:
        file.write_text(text)
    assert (loaded.settings is None) == bool(loaded.problems)
    assert all(str(problem).isprintable() for problem in loaded.problems)
    if loaded.settings is not None:
        assert Engine(site_plan(loaded.settings), 0.0, "run").snapshot()
        assert protection(loaded.settings).printers
        assert all(Decoder(feed.feed) for feeds in feeds_by_broker(loaded.settings).values() for feed in feeds)
