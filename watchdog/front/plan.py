"""How a front process is to run, from the `[front]` table alone: it needs no printers, and no secret of the guard."""

from dataclasses import dataclass
from pathlib import Path

from watchdog.settings.model import Front
from watchdog.settings.state_place import front_socket

RECORD = "record.sqlite"


@dataclass(frozen=True, slots=True)
class Plan:
    """`hosts` are the names by which clients may call it, as they stand in a Host header, without port."""

    listen: str
    port: int
    hosts: frozenset[str]
    certificate_file: str
    key_file: str
    guard_socket: Path
    record: Path


def plan_of(front: Front, state: Path) -> Plan:
    """What these settings come to."""
    names = {"localhost", "127.0.0.1", "[::1]", *map(bracketed, (front.listen, *front.hosts))}
    hosts = frozenset(name.lower() for name in names) - {"0.0.0.0", "[::]"}  # noqa: S104 - those are no names of anything
    return Plan(front.listen, front.port, hosts, front.certificate_file, front.key_file, front_socket(state), state / RECORD)


def bracketed(host: str) -> str:
    """An IPv6 address as it stands in an address of the web; anything else as it is."""
    return f"[{host}]" if ":" in host else host
