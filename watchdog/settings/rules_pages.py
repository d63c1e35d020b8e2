"""Whether pages can be asked as described, often enough, and their secrets are kept well."""

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

from watchdog.settings.addresses import USUAL_HEADER, Page
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.secret_files import credential, secret_file
from watchdog.settings.sheet import Sheet

_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,64}")
_HOST = re.compile(r"[A-Za-z0-9._:%-]+")
_OURS = frozenset({"host", "connection", "content-length", "transfer-encoding", "accept-encoding", "te", "upgrade", "range"})
"""Fields that the client itself must set: another value would change what a request means."""


def pages(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `[pages]`, each of them by itself."""
    for name, page in (sheet.main.pages if sheet.main else {}).items():
        yield from _page(("pages", name), page, outside=sheet.outside)


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


def _page(path: KeyPath, page: Page, *, outside: bool) -> Iterator[Draft]:
    if not sound_url(page.url):
        # What follows the question mark may hold a secret.
        yield Draft(MAIN_FILE, (*path, "url"), "url", page.url.partition("?")[0])
    if not _TOKEN.fullmatch(page.header) or page.header.lower() in _OURS:
        yield Draft(MAIN_FILE, (*path, "header"), "header", page.header)
    secret, name = page.secret_file, page.secret_credential
    if secret and name:
        yield Draft(MAIN_FILE, (*path, "secret_credential"), "two-secrets")
    if page.header != USUAL_HEADER and not secret and not name:
        yield Draft(MAIN_FILE, (*path, "header"), "header-without-secret")
    if secret and not secret.startswith("/"):
        yield Draft(MAIN_FILE, (*path, "secret_file"), "not-absolute", secret)
    elif secret and outside:
        yield from secret_file((*path, "secret_file"), secret)
    if name:
        yield from credential((*path, "secret_credential"), name, outside=outside)
    yield from _authorities((*path, "ca_file"), page, outside=outside)


def _authorities(path: KeyPath, page: Page, *, outside: bool) -> Iterator[Draft]:
    if not page.ca_file:
        return
    if page.url.startswith("http:"):
        yield Draft(MAIN_FILE, path, "ca-file-unused")
    elif not page.ca_file.startswith("/"):
        yield Draft(MAIN_FILE, path, "not-absolute", page.ca_file)
    elif outside and not Path(page.ca_file).is_file():
        yield Draft(MAIN_FILE, path, "tls-file-missing", page.ca_file)
