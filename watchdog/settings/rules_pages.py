"""Whether pages can be asked as described, often enough, and their secrets are kept well."""

from collections.abc import Iterator

from watchdog.settings.addresses import USUAL_HEADER, Page
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.secret_files import credential, named_secret
from watchdog.settings.sheet import Sheet
from watchdog.settings.web import authorities, sound_header, sound_url


def pages(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `[pages]`, each of them by itself."""
    for name, page in (sheet.main.pages if sheet.main else {}).items():
        yield from _page(("pages", name), page, outside=sheet.outside)


def _page(path: KeyPath, page: Page, *, outside: bool) -> Iterator[Draft]:
    if not sound_url(page.url):
        # What follows the question mark may hold a secret.
        yield Draft(MAIN_FILE, (*path, "url"), "url", page.url.partition("?")[0])
    if not sound_header(page.header):
        yield Draft(MAIN_FILE, (*path, "header"), "header", page.header)
    secret, name = page.secret_file, page.secret_credential
    if secret and name:
        yield Draft(MAIN_FILE, (*path, "secret_credential"), "two-secrets")
    if page.header != USUAL_HEADER and not secret and not name:
        yield Draft(MAIN_FILE, (*path, "header"), "header-without-secret")
    if secret:
        yield from named_secret((*path, "secret_file"), secret, outside=outside)
    if name:
        yield from credential((*path, "secret_credential"), name, outside=outside)
    yield from authorities((*path, "ca_file"), page.ca_file, (page.url,), outside=outside)
