"""Nobody waits for a resolver who need not."""

import threading
import time

import pytest
from rig.broker import wait_for

from watchdog.fetch.breaker import Breaker, BrokenOffError
from watchdog.fetch.lookup import Lookup, LookupFailedError


def seconds() -> float:
    return time.monotonic_ns() / 1e9


class Resolver:
    """Answers in turn what it is told; an event among the answers is waited for first."""

    def __init__(self, *answers: list[str] | Exception | threading.Event) -> None:
        self.answers = list(answers)
        self.asked = 0

    def __call__(self, host: str, port: int) -> list[str]:
        assert (host, port) == ("plug.example", 80)
        self.asked += 1
        while isinstance(answer := self.answers.pop(0), threading.Event):
            answer.wait(10)
        if isinstance(answer, Exception):
            raise answer
        return answer


@pytest.fixture
def hung() -> threading.Event:
    return threading.Event()


def test_an_address_is_its_own_answer() -> None:
    for address in ("192.0.2.7", "2001:db8::7", "fe80::7%eth0"):
        assert Lookup(address, 80, Resolver()).addresses(0.0, Breaker()) == [address]


def test_a_name_that_is_known_is_given_at_once_and_looked_up_anew_behind_it(hung: threading.Event) -> None:
    resolver = Resolver(["192.0.2.7"], hung, ["192.0.2.8"])
    lookup = Lookup("plug.example", 80, resolver)
    assert lookup.addresses(5.0, Breaker()) == ["192.0.2.7"]
    began = seconds()
    assert lookup.addresses(5.0, Breaker()) == ["192.0.2.7"]
    assert seconds() - began < 0.1
    hung.set()
    assert wait_for(lambda: lookup.addresses(5.0, Breaker()) == ["192.0.2.8"] or not resolver.answers, 2)


def test_row_f26_a_resolver_that_hangs_is_waited_for_no_longer_than_there_is_time(hung: threading.Event) -> None:
    lookup = Lookup("plug.example", 80, Resolver(hung, ["192.0.2.7"]))
    began = seconds()
    with pytest.raises(LookupFailedError, match=r"plug\.example was not looked up in time"):
        lookup.addresses(0.2, Breaker())
    assert 0.15 < seconds() - began < 0.5
    hung.set()
    assert wait_for(lambda: _known(lookup), 2)


def _known(lookup: Lookup) -> bool:
    try:
        return lookup.addresses(0.0, Breaker()) == ["192.0.2.7"]
    except LookupFailedError:
        return False


def test_one_hanging_look_up_is_not_joined_by_more_of_them(hung: threading.Event) -> None:
    resolver = Resolver(hung, ["192.0.2.7"])
    lookup = Lookup("plug.example", 80, resolver)
    for _ in range(5):
        with pytest.raises(LookupFailedError):
            lookup.addresses(0.01, Breaker())
    assert resolver.asked == 1
    hung.set()


def test_row_f26_a_name_that_is_gone_leaves_the_last_address(hung: threading.Event) -> None:
    lookup = Lookup("plug.example", 80, Resolver(["192.0.2.7"], OSError("gone"), hung, ["192.0.2.9"]))
    assert lookup.addresses(5.0, Breaker()) == ["192.0.2.7"]
    lookup.doubt()
    assert lookup.addresses(1.0, Breaker()) == ["192.0.2.7"]
    hung.set()


def test_an_address_in_doubt_is_looked_up_before_it_is_tried_again() -> None:
    lookup = Lookup("plug.example", 80, Resolver(["192.0.2.7"], ["192.0.2.8"], ["192.0.2.8"]))
    assert lookup.addresses(5.0, Breaker()) == ["192.0.2.7"]
    lookup.doubt()
    assert lookup.addresses(5.0, Breaker()) == ["192.0.2.8"]


def test_row_f26_a_failure_says_what_the_resolver_says() -> None:
    lookup = Lookup("plug.example", 80, Resolver(OSError(-2, "Name or service not known")))
    with pytest.raises(LookupFailedError, match=r"the name plug\.example cannot be looked up: Name or service not known"):
        lookup.addresses(1.0, Breaker())


def test_breaking_off_ends_the_wait(hung: threading.Event) -> None:
    lookup = Lookup("plug.example", 80, Resolver(hung, ["192.0.2.7"]))
    breaker = Breaker()
    later = threading.Timer(0.1, breaker.break_off)
    later.start()
    began = seconds()
    with pytest.raises(BrokenOffError):
        lookup.addresses(5.0, breaker)
    with pytest.raises(BrokenOffError):
        lookup.addresses(5.0, breaker)
    assert seconds() - began < 1.0
    hung.set()


def test_the_real_resolver_knows_this_computer() -> None:
    assert set(Lookup("localhost", 80).addresses(5.0, Breaker())) & {"127.0.0.1", "::1"}
