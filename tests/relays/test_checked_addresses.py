"""A relay from checked settings is built without the validator, and comes out the same."""

from typing import Any

import pytest

from watchdog.core.values import JsonObject
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build

BROKER: JsonObject = {"host": "127.0.0.1", "port": 1884, "tls": {"ca_file": "/ca.pem"}, "keepalive_s": 20}


@pytest.mark.parametrize(
    "address",
    [
        {"kind": "mqtt", "broker": BROKER, "order": {"topic": "a/set"}},
        {
            "kind": "mqtt",
            "broker": {"host": "h", "tls": None},
            "order": {"topic": "a/set", "off": "0"},
            "echo": {"topic": "a/echo", "pointer": "/state"},
            "meter": {"topic": "a/meter", "standby_w": 1},
            "presence": {"topic": "a/here"},
        },
        {"kind": "command", "off": ["/bin/true", "x"], "ask": ["/bin/echo", "off"], "time_limit_s": 1},
        {
            "kind": "http",
            "order": {"url": "http://127.0.0.1/a", "headers": {"Accept": "text/plain"}, "answer": {"word": "ok"}},
            "echo": {"url": "http://127.0.0.1/b", "headers": {}, "pointer": "/contact"},
            "meter": {"pointer": "/watts", "standby_w": 1},
            "time_limit_s": 1,
        },
        {"kind": "pretend", "file": ""},
    ],
)
def test_a_checked_address_gives_the_same_driver_as_a_validated_one(address: JsonObject) -> None:
    def made(*, checked: bool) -> Any:
        links = Links(lambda: 0.0)
        return build("plug", address, now=lambda: 0.0, report=lambda _: None, links=links, checked=checked)

    assert type(made(checked=True)) is type(made(checked=False))
    assert vars(made(checked=True)).get("_address") == vars(made(checked=False)).get("_address")


def test_a_checked_address_of_an_unknown_kind_is_refused_all_the_same() -> None:
    with pytest.raises(ValueError, match="allowed are command, http, mqtt, pretend"):
        build("plug", {"kind": "lever"}, now=lambda: 0.0, report=lambda _: None, links=Links(lambda: 0.0), checked=True)
