"""By which names, and from which pages, a request may come: what keeps a browser from being used against its owner."""

import re
from collections.abc import Collection, Mapping
from typing import Final

from watchdog.front.problems import Problem

_HOST: Final = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::(?P<port>[0-9]{1,5}))?")
_LARGEST_PORT: Final = 65535
SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})


def check_host(headers: Mapping[str, str], hosts: Collection[str], here: str) -> None:
    """Raises Problem unless the Host header names one of `hosts`, or `here`, the very address that was reached.

    A page that makes its own name point here (DNS rebinding) still sends its own name.
    """
    found = _HOST.fullmatch(headers.get("host", "").lower())
    if found is None or int(found["port"] or 0) > _LARGEST_PORT or found["name"] not in {*hosts, here}:
        raise Problem("wrong-host", "The Host header names nothing that this front is known by.")


def check_site(method: str, headers: Mapping[str, str]) -> None:
    """Raises Problem for an act that a page of another site asks for. Programs send neither header."""
    if method in SAFE:
        return
    if headers.get("sec-fetch-site", "none").lower() not in {"same-origin", "none"}:
        raise Problem("cross-site", "A browser sends this for a page of another site.")
    origin = headers.get("origin", "").lower()
    if origin and origin.partition("://")[2] != headers.get("host", "").lower():
        raise Problem("cross-site", "The Origin header names another site.")
