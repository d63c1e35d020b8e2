"""The lock: every package with its exact version and hashes, and none that pyproject.toml would not have. Threat S23."""

import importlib.metadata
import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name
from packaging.version import Version

TOP = Path(__file__).parents[2]
LOCK = (TOP / "deploy" / "requirements.lock").read_text(encoding="utf-8")
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
REPAIR = "run deploy/lock after any change of the dependencies"


def entries() -> list[tuple[Requirement, list[str]]]:
    """Each pinned package of the lock with its hashes."""
    found = []
    for block in re.split(r"\n(?=\S)", LOCK):
        if block.strip() and not block.startswith("#"):
            head, *hashes = block.replace("\\\n", " ").split("--hash=")
            found.append((Requirement(head.strip()), [digest.strip() for digest in hashes]))
    return found


PINNED = entries()


def pins(name: str) -> list[Version]:
    return [
        Version(pin.version)
        for requirement, _ in PINNED
        if canonicalize_name(requirement.name) == canonicalize_name(name)
        for pin in requirement.specifier
    ]


def test_every_entry_is_one_version_with_hashes_of_its_files() -> None:
    assert len(PINNED) > 20
    for requirement, hashes in PINNED:
        assert [pin.operator for pin in requirement.specifier] == ["=="], requirement
        assert hashes, requirement
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", digest) for digest in hashes), requirement


def test_it_holds_what_the_project_asks_for_in_versions_that_it_allows() -> None:
    for line in PROJECT["dependencies"]:
        wanted = Requirement(line)
        versions = pins(wanted.name)
        assert versions, f"{wanted.name} is not in the lock: {REPAIR}"
        assert all(wanted.specifier.contains(version) for version in versions), f"{wanted}: the lock has {versions}; {REPAIR}"


def test_it_holds_what_those_ask_for_in_turn_and_nothing_else() -> None:
    seen = set[str]()
    wanted = [Requirement(line) for line in PROJECT["dependencies"]]
    while wanted:
        requirement = wanted.pop()
        name = canonicalize_name(requirement.name)
        if name in seen or (requirement.marker is not None and not requirement.marker.evaluate({"extra": ""})):
            continue
        seen.add(name)
        assert pins(name), f"{name} is not in the lock: {REPAIR}"
        wanted += [Requirement(line) for line in importlib.metadata.requires(name) or []]
    here = {canonicalize_name(pinned.name) for pinned, _ in PINNED if pinned.marker is None or pinned.marker.evaluate()}
    assert here - seen == set(), f"the lock holds more than is asked for: {REPAIR}"


def test_it_serves_every_python_that_the_project_does() -> None:
    assert SpecifierSet(PROJECT["requires-python"]) == SpecifierSet(">=3.11")
    assert "watchdog" not in {canonicalize_name(pinned.name) for pinned, _ in PINNED}
