"""Readings that are pushed or polled: what the settings make of them, and what is said of them."""

from pathlib import Path

import pytest

from watchdog.cli import check
from watchdog.core.plan import SourcePlan
from watchdog.settings.assemble import PUSHED_LINK, feeds_by_broker, feeds_by_page, meters, site_plan, ways_of_voices
from watchdog.settings.bounds import FRONT_RESTART_S
from watchdog.settings.load import load
from watchdog.settings.model import Settings
from watchdog.settings.protection import protection
from watchdog.settings.web import sound_url

PAGE = """[pages.board]
url = "http://board.example/now"
every_s = 1.0
time_limit_s = 1.0

[brokers.spare]"""
GLUED = 'broker = "spare"\ntopic = "anvil/glued"\n'
HOTEND = 'broker = "main"\ntopic = "anvil/heaters"\nfields = { temperature = "/hotend/now", target = "/hotend/wanted" }\n'
METER = 'broker = "main"\ntopic = "plugs/anvil/power"\npointer = "/watts"\n'


def changed(config: Path, *changes: tuple[str, str]) -> Settings:
    """The good settings with a page, and these changes in the file of anvil."""
    main = config / "heatwarden.toml"
    main.write_text(main.read_text().replace("[brokers.spare]", PAGE))
    anvil = config / "printers" / "anvil.toml"
    for old, new in changes:
        text = anvil.read_text()
        assert text.count(old) == 1
        anvil.write_text(text.replace(old, new))
    loaded = load(config)
    assert [str(problem) for problem in loaded.problems] == []
    assert loaded.settings is not None
    return loaded.settings


@pytest.fixture
def mixed(config: Path) -> Settings:
    """anvil's bed over MQTT with a polled second sensor, its hotend pushed, its meter polled from the same page."""
    return changed(
        config,
        (GLUED, 'page = "board"\n'),
        (HOTEND, "pushed = true\n"),
        (METER, 'page = "board"\npointer = "/watts"\n'),
    )


def test_feeds_are_told_by_their_way(mixed: Settings) -> None:
    by_page = {name: [(feed.source, feed.feed.sensor) for feed in feeds] for name, feeds in feeds_by_page(mixed).items()}
    assert by_page == {"board": [("anvil/bed/glued", "glued"), ("anvil/power meter", "")]}
    assert {name: [feed.source for feed in feeds] for name, feeds in feeds_by_broker(mixed).items()} == {
        "main": ["anvil/bed", "cinder/bed"]
    }
    assert ways_of_voices(mixed) == {
        ("anvil", "bed", ""): "over MQTT",
        ("anvil", "bed", "glued"): "polled",
        ("anvil", "hotend", ""): "pushed through the front",
        ("anvil", "", ""): "polled",
        ("cinder", "bed", ""): "over MQTT",
    }


def test_what_is_polled_from_one_page_shares_a_link_and_what_is_pushed_another(config: Path) -> None:
    settings = changed(
        config,
        (
            'broker = "main"\ntopic = "anvil/heaters"\nfields = { temperature = "/bed/now"',
            'page = "board"\nfields = { temperature = "/bed/now"',
        ),
        (HOTEND, "pushed = true\n"),
    )
    bed, hotend = site_plan(settings).printers[0].heaters
    assert bed.source == SourcePlan("anvil/bed", on_change=False, longest_interval_s=2.0, link="page board", fed="polled")
    assert hotend.source == SourcePlan("anvil/hotend", False, 2.0, PUSHED_LINK, "pushed through the front")


@pytest.mark.parametrize(
    ("relay", "meter", "whose"),
    [
        ('topic = "plugs/anvil/power", pointer = "/watts"', "anvil-plug", ("anvil", "")),
        ('topic = "plugs/bed/power"', "bed-contactor", ("anvil", "bed")),
    ],
)
def test_a_relay_s_meter_shows_the_power_of_what_the_relay_cuts(config: Path, relay: str, meter: str, whose: tuple[str, str]) -> None:
    main = config / "heatwarden.toml"
    text = main.read_text()
    if meter == "bed-contactor":
        order = 'order = { topic = "plugs/bed/order" }'
        text = text.replace(order, f"{order}\nmeter = {{ {relay} }}")
    anvil = (config / "printers" / "anvil.toml").read_text()
    without = anvil[: anvil.index("[meter]")]
    main.write_text(text)
    unused = f"{meter}: its meter shows only whether the power is gone; with shows_heat, heating while off would be seen by it as well"
    silent = changed(config, (anvil, without))
    assert meters(silent) == {}
    assert unused in protection(silent).printers["anvil"].lacks
    main.write_text(text.replace(relay, f"{relay}, shows_heat = true"))
    shown = load(config).settings
    assert shown is not None
    assert meters(shown) == {meter: whose}
    assert unused not in protection(shown).printers["anvil"].lacks


@pytest.mark.usefixtures("mixed")
def test_check_says_in_plain_words_where_readings_come_from(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert check.run(config, False) == 0
    text = capsys.readouterr().out
    assert "over MQTT from broker main, topic anvil/heaters" in text
    assert "sensor glued: polled from page board every 1 s, each answer within 1 s" in text
    assert "pushed through the front; depends on the front process" in text
    assert "hotend: its readings depend on the front process; while that is down nothing of it is heard" in text
    assert "page board: no https; all readings cross the network in the clear, and anybody on it may speak for a printer" in text
    assert "hotend: its target is not reported" not in text


def test_a_page_that_nobody_reads_is_told(config: Path) -> None:
    assert "page board: described, and read by no printer" in protection(changed(config)).lacks


def test_a_page_on_this_computer_or_with_https_crosses_nothing_in_the_clear(config: Path) -> None:
    changed(config)
    main = config / "heatwarden.toml"
    text = main.read_text()
    for url in ("http://127.0.0.1:8000/now", "http://localhost/now", "https://board.example/now"):
        main.write_text(text.replace("http://board.example/now", url))
        settings = load(config).settings
        assert settings is not None
        assert not any("no https" in sentence for sentence in protection(settings).lacks)


def test_a_grace_as_long_as_the_front_needs_is_just_enough(config: Path) -> None:
    old = 'broker = "main"\ntopic = "anvil/heaters"\nfields = { temperature = "/bed/now", target = "/bed/wanted" }\n'
    changed(config, (old, "pushed = true\n"), ("grace_s = 30.0", f"grace_s = {FRONT_RESTART_S}"))


@pytest.mark.parametrize(
    ("url", "sound"),
    [
        ("http://board.example/now", True),
        ("https://192.0.2.7:8443/now?what=heaters", True),
        ("http://[fe80::1]:80/", True),
        ("http://board.example:0/", False),
        ("http://board.example:99999/", False),
        ("http://ada@board.example/", False),
        ("http://board.example/#bed", False),
        ("http:///now", False),
        ("board.example/now", False),
        ("ftp://board.example/now", False),
        ("http://board .example/", False),
        ("http://b\u00f6ard.example/", False),
        ("http://board.example/\r\nX: 1", False),
        ("http://[board/", False),
        ("", False),
    ],
)
def test_what_an_address_of_a_page_may_be(url: str, sound: bool) -> None:  # noqa: FBT001 - a verdict
    assert sound_url(url) is sound
