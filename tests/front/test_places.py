"""Rows S08 and S28: how many may be connected."""

import pytest

from watchdog.front.protocol import Places, log


def test_one_address_of_the_network_cannot_take_all_places() -> None:
    places = Places(most=10, most_of_a_peer=3)
    assert [places.take("10.0.0.7") for _ in range(5)] == [True, True, True, False, False]
    assert places.take("10.0.0.8")
    places.give_back("10.0.0.7")
    assert places.take("10.0.0.7")


def test_this_computer_may_take_all_of_them_and_no_more() -> None:
    places = Places(most=4, most_of_a_peer=2)
    peers = ("127.0.0.1", "::1", "127.0.0.1", "127.0.0.2", "127.0.0.1")
    assert [places.take(peer) for peer in peers] == [True, True, True, True, False]


def test_what_has_gone_leaves_nothing_behind() -> None:
    places = Places()
    for number in range(1000):
        peer = f"10.0.{number // 250}.{number % 250}"
        assert places.take(peer)
        places.give_back(peer)
    assert not places._of


def test_a_flood_of_refusals_is_a_few_lines_of_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    lines: list[str] = []
    monkeypatch.setattr(log, "warning", lambda text, *values: lines.append(text % values))
    places = Places(most=0)
    for _ in range(10_000):
        assert not places.take("10.0.0.7")
    assert len(lines) == 14
