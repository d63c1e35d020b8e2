"""Rows S05 and S06: by which names the front may be called, and by which pages."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchdog.front.hosts import check_host, check_site
from watchdog.front.plan import plan_of
from watchdog.front.problems import Problem
from watchdog.settings.model import Front

HOSTS = plan_of(Front(listen="192.168.1.20", hosts=("shed.example", "fd00::20")), Path("/nowhere")).hosts


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "LOCALHOST:8463",
        "127.0.0.1",
        "127.0.0.1:1",
        "[::1]",
        "[::1]:8080",
        "192.168.1.20:8463",
        "Shed.Example",
        "[fd00::20]:80",
    ],
)
def test_its_own_names_are_let_in_on_any_port(host: str) -> None:
    check_host({"host": host}, HOSTS, "127.0.0.1")


@pytest.mark.parametrize(
    "host",
    [
        "",
        "evil.example",
        "localhost.",
        "localhost.evil.example",
        "evil-localhost",
        "shed.example.",
        "shed.example:",
        "shed.example:99999",
        "shed.example:-1",
        "localhost@evil.example",
        "evil.example, localhost",
        "localhost/",
        "::1",
        "[::1",
        "127.1",
        "2130706433",
        "0.0.0.0",
        "192.168.1.21",
        "localhost:80:80",
        "[::1]x",
        " localhost",
    ],
)
def test_any_other_name_is_not(host: str) -> None:
    with pytest.raises(Problem) as refused:
        check_host({"host": host}, HOSTS, "192.168.1.20")
    assert refused.value.name == "wrong-host"


def test_without_the_header_nobody_is_let_in() -> None:
    with pytest.raises(Problem):
        check_host({}, HOSTS, "127.0.0.1")


@given(st.text(max_size=40))
def test_no_text_but_its_own_names_opens_it(host: str) -> None:
    try:
        check_host({"host": host}, HOSTS, "127.0.0.1")
    except Problem:
        return
    name = host.lower().rsplit(":", 1)[0] if ":" in host and not host.endswith("]") else host.lower()
    assert name in HOSTS


def test_a_front_that_listens_everywhere_answers_to_the_address_that_was_reached_and_to_no_wildcard() -> None:
    everywhere = plan_of(Front(listen="0.0.0.0"), Path("/nowhere")).hosts
    check_host({"host": "10.0.0.7:8463"}, everywhere, "10.0.0.7")
    for host in ("0.0.0.0", "10.0.0.8"):
        with pytest.raises(Problem):
            check_host({"host": host}, everywhere, "10.0.0.7")


HERE = {"host": "shed.example:8463"}


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"sec-fetch-site": "none"},
        {"sec-fetch-site": "same-origin", "origin": "https://shed.example:8463"},
        {"origin": "http://SHED.example:8463"},
    ],
)
def test_programs_and_pages_of_its_own_may_act(headers: dict[str, str]) -> None:
    check_site("POST", HERE | headers)


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "same-origin", "origin": "http://evil.example"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://shed.example"},
        {"origin": "http://shed.example:8463.evil.example"},
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "X-ANYTHING"])
def test_pages_of_other_sites_may_not(headers: dict[str, str], method: str) -> None:
    with pytest.raises(Problem) as refused:
        check_site(method, HERE | headers)
    assert refused.value.name == "cross-site"
