"""Whether the front process can listen as described, and keeps its key well."""

import ipaddress
import re
from collections.abc import Iterator

from watchdog.settings.bounds import BOUNDS
from watchdog.settings.draft import Draft
from watchdog.settings.model import MAIN_FILE, Front
from watchdog.settings.secret_files import certificate_and_key
from watchdog.settings.sheet import Sheet

_HOST_NAME = re.compile(r"(?=.{1,253}\Z)[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*")


def front(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `[front]` itself. The files that it names are the front's affair, not the guard's: see `front_table`."""
    if sheet.main is not None:
        yield from front_table(sheet.main.front, outside=False)


def front_table(table: Front, *, outside: bool) -> Iterator[Draft]:
    """What is wrong with this table; `outside` also looks at the files that it names."""
    if not is_address(table.listen):
        yield Draft(MAIN_FILE, ("front", "listen"), "listen", table.listen)
    if not BOUNDS["port"].hold(table.port):
        yield Draft(MAIN_FILE, ("front", "port"), "out-of-bounds", table.port, said={"bounds": str(BOUNDS["port"])})
    for place, host in enumerate(table.hosts):
        if not is_address(host) and not _HOST_NAME.fullmatch(host):
            yield Draft(MAIN_FILE, ("front", "hosts", place), "front-host", host)
    yield from certificate_and_key(("front",), table.certificate_file, table.key_file, outside=outside)


def is_address(text: str) -> bool:
    """Whether this is one literal IPv4 or IPv6 address."""
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def is_loopback(address: str) -> bool:
    """Whether only this computer can reach what listens here."""
    return is_address(address) and ipaddress.ip_address(address).is_loopback
