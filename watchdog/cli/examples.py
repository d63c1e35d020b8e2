"""`heatwarden examples DIR`: the commented example settings, written out to begin with."""

import importlib.metadata
from pathlib import Path

import watchdog
from watchdog.cli import exit_codes
from watchdog.cli.output import complain, say

SHARE = "share/heatwarden"


class NoExamplesError(Exception):
    """The examples are not where an installation keeps them."""


def run(directory: Path) -> int:
    """Exit code 0 when they are written, 2 when they cannot be or something of that name is there already."""
    try:
        source = examples()
        files = sorted(path.relative_to(source) for path in source.rglob("*.toml"))
        standing = [str(directory / file) for file in files if (directory / file).exists()]
        if standing:
            complain(
                f"{', '.join(standing)}: there already, and nothing is overwritten. Name an empty directory, or take a copy of your own"
            )
            return exit_codes.BAD_INPUT
        for file in files:
            (directory / file).parent.mkdir(parents=True, exist_ok=True)
            (directory / file).write_bytes((source / file).read_bytes())
    except NoExamplesError as error:
        complain(str(error))
        return exit_codes.BAD_INPUT
    except OSError as error:
        complain(f"the examples cannot be written to {directory}: {error.strerror}")
        return exit_codes.BAD_INPUT
    for file in files:
        say(f"wrote {directory / file}")
    say(f"Make them yours, delete the printers you do not have, and try them: heatwarden check --config {directory}")
    say(f"Units for systemd and what a container needs are in {source.parent / 'deploy'}")
    return exit_codes.OK


def examples() -> Path:
    """The directory of the example settings, in an installation or in a checkout. Raises NoExamplesError."""
    checkout = Path(watchdog.__file__).parents[1]
    if (checkout / "pyproject.toml").is_file() and (checkout / "config" / "heatwarden.toml").is_file():
        return checkout / "config"
    for file in importlib.metadata.files("heatwarden") or []:
        if file.as_posix().endswith(f"{SHARE}/config/heatwarden.toml"):
            return Path(str(file.locate())).resolve().parent
    raise NoExamplesError("the examples are missing from this installation: install heatwarden anew, or take them from its source archive")
