"""A good settings directory to start from, and cases of bad ones told as edits to it."""

import os
import shutil
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent.parent / "settings"


def good_settings(place: Path) -> Path:
    """A settings directory in `place`/config without a fault, with the secret and the program that it names."""
    config = place / "config"
    shutil.copytree(HERE / "good", config)
    for file in config.rglob("*.toml"):
        file.write_text(file.read_text().replace("{here}", str(place)))
        file.chmod(0o644)
    (place / "state").mkdir()
    (place / "secret").write_text("correct horse battery staple\n")
    (place / "secret").chmod(0o600)
    (place / "ca.pem").write_text("no real authority\n")
    (place / "program").write_text("#!/bin/sh\necho off\n")
    (place / "program").chmod(0o755)
    return config


def cases() -> list[Any]:
    """Every case of every file under bad/."""
    found = [case for file in sorted((HERE / "bad").glob("*.toml")) for case in tomllib.loads(file.read_text())["case"]]
    assert len({case["name"] for case in found}) == len(found)
    return found


def spoil(config: Path, case: dict[str, Any]) -> None:
    """Make the good settings bad in the way that the case tells. File names are relative to the settings directory."""
    place = config.parent

    def here(text: str) -> str:
        return text.replace("{here}", str(place))

    for edit in case.get("edits", []):
        file = config / edit["file"]
        text = file.read_text()
        assert text.count(here(edit["cut"])) == 1, f"{edit['cut']!r} must stand once in {edit['file']}"
        file.write_text(text.replace(here(edit["cut"]), here(edit["put"])))
    for name in case.get("remove", []):
        shutil.rmtree(config / name) if (config / name).is_dir() else (config / name).unlink()
    _write(config, case, place)
    for name, mode in case.get("modes", {}).items():
        (config / name).chmod(mode)
    for name, target in case.get("links", {}).items():
        (config / name).unlink(missing_ok=True)
        (config / name).symlink_to(here(target))
    for name in case.get("owned_by_nobody", []):
        os.chown(config / name, 65534, 65534)


def _write(config: Path, case: dict[str, Any], place: Path) -> None:
    for name, text in case.get("files", {}).items():
        (config / name).write_text(text.replace("{here}", str(place)))
    for name, (start, piece, count) in case.get("repeat", {}).items():
        (config / name).write_text(start + piece * count)
    for name, digits in case.get("bytes", {}).items():
        (config / name).write_bytes(bytes.fromhex(digits))
    for name in case.get("folders", []):
        (config / name).mkdir()
