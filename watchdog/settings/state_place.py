"""Where the state directory is, even when the settings are broken."""

import os
import tomllib
from pathlib import Path

DEFAULT = Path("/var/lib/heatwarden")
FRONT_SOCKET = "front.sock"


def state_directory(config: Path, chosen: Path | None = None) -> Path:
    """The state directory: the one chosen, else $STATE_DIRECTORY, else `[state] directory` of the main file, else the default.

    Reads the main file loosely: whatever is wrong with the rest of it must not hide where latches are kept.
    """
    if chosen is not None:
        return chosen
    given = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    try:
        values = tomllib.loads((config / "heatwarden.toml").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return DEFAULT
    state = values.get("state")
    directory = state.get("directory") if isinstance(state, dict) else None
    return Path(directory) if isinstance(directory, str) and directory.startswith("/") else DEFAULT


def front_socket(state: Path) -> Path:
    """The guard's second socket: in its run-time directory when a service manager made one, else in the state directory."""
    given = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    return (Path(given) if given else state) / FRONT_SOCKET
