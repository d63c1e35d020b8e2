"""Names are looked up within a time limit, and the last answer is kept."""

import threading

import pytest
from rig.broker import wait_for

from watchdog.sources.poll_lookup import Lookup, LookupFailedError

from .conftest import now


class Names:
    """A resolver that can be slow and can fail."""

    def __init__(self) -> None:
        self.answer: list[str] | OSError = ["192.0.2.1", "192.0.2.2"]
        self.goes_on = threading.Event()
        self.goes_on.set()
        self.asked = 0

    def __call__(self, host: str, port: int) -> list[str]:
        assert (host, port) == ("board.example", 80)
        self.asked += 1
        self.goes_on.wait(5)
        if isinstance(self.answer, OSError):
            raise self.answer
        return self.answer


def test_an_address_needs_no_looking_up() -> None:
    names = Names()
    assert [Lookup(names).addresses(host, 80, 0.1) for host in ("192.0.2.7", "::1", "fe80::1%eth0")] == [
        ["192.0.2.7"],
        ["::1"],
        ["fe80::1%eth0"],
    ]
    assert names.asked == 0


def test_all_addresses_come_in_their_order() -> None:
    assert Lookup(Names()).addresses("board.example", 80, 1.0) == ["192.0.2.1", "192.0.2.2"]


def test_row_f26_a_name_that_nobody_knows_is_told() -> None:
    names = Names()
    names.answer = OSError(-2, "Name or service not known")
    with pytest.raises(LookupFailedError, match=r"the name board\.example cannot be looked up: Name or service not known"):
        Lookup(names).addresses("board.example", 80, 1.0)


def test_row_f26_a_slow_resolver_costs_no_more_than_the_time_given_and_is_not_asked_again_meanwhile() -> None:
    names = Names()
    names.goes_on.clear()
    lookup = Lookup(names)
    for _ in range(3):
        t0 = now()
        with pytest.raises(LookupFailedError, match="was not looked up in time"):
            lookup.addresses("board.example", 80, 0.1)
        assert now() - t0 < 0.3
    assert names.asked == 1
    names.goes_on.set()
    assert wait_for(lambda: lookup.addresses("board.example", 80, 0.1), 1)


def test_row_f26_the_last_address_is_kept_when_the_resolver_fails_or_hangs() -> None:
    names = Names()
    lookup = Lookup(names)
    assert lookup.addresses("board.example", 80, 1.0)
    names.answer = OSError(-3, "Temporary failure in name resolution")
    assert lookup.addresses("board.example", 80, 1.0) == ["192.0.2.1", "192.0.2.2"]
    names.goes_on.clear()
    t0 = now()
    assert lookup.addresses("board.example", 80, 0.4) == ["192.0.2.1", "192.0.2.2"]
    assert now() - t0 < 0.35, "time is left to connect"
    names.goes_on.set()


def test_a_new_address_takes_the_place_of_the_last_one() -> None:
    names = Names()
    lookup = Lookup(names)
    assert lookup.addresses("board.example", 80, 1.0)
    names.answer = ["192.0.2.9"]
    assert lookup.addresses("board.example", 80, 1.0) == ["192.0.2.9"]
