"""The entry point of `heatwarden`."""

import os
import sys
from pathlib import Path

CONFIG_DEFAULT = Path("/etc/heatwarden")
CONFIG_VARIABLE = "HEATWARDEN_CONFIG"
STUCK_OPTION = "--end-when-stuck"

SHORTEST_STUCK_S = 5
"""A busy machine or a slow disk may hold the loop up for a few seconds; that is no reason to end."""


def main() -> None:
    """Run the command that was asked for."""
    asked = plain_guard(sys.argv[1:])
    if asked is not None:
        from watchdog.cli.guard import run

        sys.exit(run(*asked))
    from watchdog.cli.app import app

    try:
        app()
    except BrokenPipeError:  # the reader of our output has gone
        sys.stderr.close()
        sys.exit(0)


def plain_guard(words: list[str]) -> tuple[Path, Path | None, float] | None:
    """Settings, state directory and seconds of a plain `guard [--config DIR] [--state DIR] [--end-when-stuck SECONDS]`.

    None for anything else.

    That is how service managers start it. What only people need, above all the library of the command line, would cost it as much
    time as all else until it is armed.
    """
    if words[:1] != ["guard"] or len(words) % 2 == 0:
        return None
    given = dict(zip(words[1::2], words[2::2], strict=True))
    if not given.keys() <= {"--config", "--state", STUCK_OPTION} or 2 * len(given) != len(words) - 1:
        return None
    if any(value.startswith("-") for value in given.values()):
        return None
    seconds = given.get(STUCK_OPTION, "0")
    if not seconds.isdecimal() or 0 < int(seconds) < SHORTEST_STUCK_S:
        return None
    config = given.get("--config") or os.environ.get(CONFIG_VARIABLE)
    return Path(config) if config else CONFIG_DEFAULT, Path(given["--state"]) if "--state" in given else None, float(seconds)


if __name__ == "__main__":
    main()
