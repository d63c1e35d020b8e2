"""Whether brokers can be reached as described, and their secrets are kept well."""

import re
from collections.abc import Iterator

from watchdog.settings.addresses import Broker, Tls
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.secret_files import certificate_and_key, credential, named_secret, public_file
from watchdog.settings.sheet import Sheet

_HOST = re.compile(r"[A-Za-z0-9._:%-]+")


def brokers(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `[brokers]` and `[state]`."""
    if sheet.main is None:
        return
    if not sheet.main.state.directory.startswith("/"):
        yield Draft(MAIN_FILE, ("state", "directory"), "not-absolute", sheet.main.state.directory)
    for name, broker in sheet.main.brokers.items():
        yield from _broker(("brokers", name), broker, outside=sheet.outside)


def _broker(path: KeyPath, broker: Broker, *, outside: bool) -> Iterator[Draft]:
    if not _HOST.fullmatch(broker.host):
        yield Draft(MAIN_FILE, (*path, "host"), "host", broker.host)
    if not broker.user.isprintable():
        yield Draft(MAIN_FILE, (*path, "user"), "user", broker.user)
    file, name = broker.password_file, broker.password_credential
    if file and name:
        yield Draft(MAIN_FILE, (*path, "password_credential"), "two-passwords")
    if (file or name) and not broker.user:
        yield Draft(MAIN_FILE, (*path, "password_file" if file else "password_credential"), "password-without-user")
    if file:
        yield from named_secret((*path, "password_file"), file, outside=outside)
    if name:
        yield from credential((*path, "password_credential"), name, outside=outside)
    if broker.tls:
        yield from _tls((*path, "tls"), broker.tls, outside=outside)


def _tls(path: KeyPath, tls: Tls, *, outside: bool) -> Iterator[Draft]:
    yield from certificate_and_key(path, tls.certificate_file, tls.key_file, outside=outside)
    yield from public_file((*path, "ca_file"), tls.ca_file, outside=outside)
