"""Addresses and header fields on HTTP: what may stand in the settings, and what only a request itself may say."""

import re
from collections.abc import Iterator
from urllib.parse import urlsplit

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.secret_files import public_file

_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,64}")
_HOST = re.compile(r"[A-Za-z0-9._:%-]+")
_OURS = frozenset({"host", "connection", "content-length", "transfer-encoding", "accept-encoding", "te", "upgrade", "range"})
"""Fields that the client itself must set: another value would change what a request means."""


def sound_url(url: str) -> bool:
    """True for an http or https address with a host, and without user, password or fragment."""
    if not url.isascii() or not url.isprintable() or " " in url or "\\" in url:
        return False
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return False
    fit = parts.scheme in {"http", "https"} and port != 0 and "@" not in parts.netloc and "#" not in url
    return fit and _HOST.fullmatch(parts.hostname or "") is not None


def sound_header(name: str) -> bool:
    """True for the name of a header field that a request does not set itself."""
    return _TOKEN.fullmatch(name) is not None and name.lower() not in _OURS


def host_and_port(url: str) -> tuple[str, int]:
    """Of a sound URL, with the usual port where it names none."""
    parts = urlsplit(url)
    return parts.hostname or "", parts.port or (443 if parts.scheme == "https" else 80)


def authorities(path: KeyPath, ca_file: str, urls: tuple[str, ...], *, outside: bool) -> Iterator[Draft]:
    """What is wrong with the `ca_file` by which the `urls` are to be trusted."""
    if ca_file and all(url.startswith("http:") for url in urls):
        yield Draft(MAIN_FILE, path, "ca-file-unused")
    else:
        yield from public_file(path, ca_file, outside=outside)
