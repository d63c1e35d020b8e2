"""The systemd units of deploy/, read by a test."""

import shutil
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[2] / "deploy"
GUARD = "heatwarden-guard.service"
FRONT = "heatwarden-front.service"
UNITS = (GUARD, FRONT)


def need(program: str, package: str = "systemd") -> str:
    """Where a program is; a test that needs it is skipped where it is missing."""
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"no {program}: install the package {package}")
    return found


def text(unit: str) -> str:
    return (DEPLOY / "systemd" / unit).read_text(encoding="utf-8")


def settings(unit: str) -> dict[str, list[str]]:
    """All values of a unit by their key."""
    found: dict[str, list[str]] = {}
    for line in text(unit).splitlines():
        key, equals, value = line.partition("=")
        if equals and not line.startswith("#"):
            found.setdefault(key, []).append(value)
    return found


def value(unit: str, key: str) -> str:
    (only,) = settings(unit)[key]
    return only
