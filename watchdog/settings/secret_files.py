"""Secrets are named in the settings and kept elsewhere: whether what is named is there, and open to nobody else."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE

FORBIDDEN_BITS = stat.S_IRWXO | stat.S_IWGRP
"""Anything for others, or writing for the group; reading for the group is how a service account gets at it."""


def secret_file(path: KeyPath, name: str) -> Iterator[Draft]:
    """What is wrong with the file of a secret, the name of which may be the secret itself, put there by mistake."""
    file = Path(name)
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            yield Draft(MAIN_FILE, path, "secret-unreadable", said={"error": "not a plain file"})
        elif status.st_mode & FORBIDDEN_BITS:
            yield Draft(MAIN_FILE, path, "secret-open", said={"mode": f"{stat.S_IMODE(status.st_mode):04o}", "file": name})
        elif not os.access(file, os.R_OK):
            yield Draft(MAIN_FILE, path, "secret-unreadable", said={"error": "not readable for this user"})
        elif status.st_size == 0:
            yield Draft(MAIN_FILE, path, "secret-empty", said={"file": name})
    except (OSError, ValueError):
        yield Draft(MAIN_FILE, path, "secret-missing")


def credential(path: KeyPath, name: str, *, outside: bool) -> Iterator[Draft]:
    """What is wrong with a systemd credential. Its mode is systemd's affair; outside of a unit nobody can look."""
    folder = os.environ.get("CREDENTIALS_DIRECTORY")
    if not name.isprintable() or "/" in name or name.startswith("."):
        yield Draft(MAIN_FILE, path, "credential-name")
    elif outside and folder and not (Path(folder) / name).is_file():
        yield Draft(MAIN_FILE, path, "credential-missing")


def named_secret(path: KeyPath, name: str, *, outside: bool) -> Iterator[Draft]:
    """What is wrong with the path of a secret, and with the file itself when `outside` may be looked at."""
    if not name.startswith("/"):
        yield Draft(MAIN_FILE, path, "not-absolute", name)
    elif outside:
        yield from secret_file(path, name)


def public_file(path: KeyPath, name: str, *, outside: bool) -> Iterator[Draft]:
    """What is wrong with the path of a file of certificates; nothing when none is named."""
    if name and not name.startswith("/"):
        yield Draft(MAIN_FILE, path, "not-absolute", name)
    elif name and outside and not Path(name).is_file():
        yield Draft(MAIN_FILE, path, "tls-file-missing", name)


def certificate_and_key(path: KeyPath, certificate: str, key: str, *, outside: bool) -> Iterator[Draft]:
    """What is wrong with `certificate_file` and `key_file` of the table at `path`."""
    if bool(certificate) != bool(key):
        yield Draft(MAIN_FILE, path, "tls-half")
    if key:
        yield from named_secret((*path, "key_file"), key, outside=outside)
    yield from public_file((*path, "certificate_file"), certificate, outside=outside)
