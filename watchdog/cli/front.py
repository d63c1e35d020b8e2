"""`heatwarden front`: the process that speaks HTTP to clients. It needs the guard only to have something to tell."""

import gc
import logging
import ssl
from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.output import complain
from watchdog.guard.logs import start_logging
from watchdog.settings.state_place import state_directory

log = logging.getLogger("heatwarden")


def run(config: Path, state: Path | None) -> int:
    """Exit code 0 when told to stop, 1 when it cannot listen, 78 for a `[front]` table that cannot be used."""
    from watchdog.front.plan import plan_of
    from watchdog.front.settings import front_settings

    directory = state_directory(config, state)
    front, problems = front_settings(config, directory)
    for problem in problems:
        complain(f"{config}/{problem}" if problem.file else f"{config}: {problem}")
    if front is None:
        complain(f"the front cannot be run. `heatwarden check --config {config}` lists all problems")
        return exit_codes.BAD_SETTINGS
    listener = start_logging(timestamps=True)
    try:
        if problems:
            log.error("the settings of the front are broken: those that ran last are used")
        from watchdog.front.server import CannotListenError, serve

        serve(plan_of(front, directory))
    except CannotListenError as error:
        complain(str(error))
        return exit_codes.NOT_SO
    except (ssl.SSLError, OSError) as error:
        complain(f"the front cannot use certificate_file and key_file: {error.strerror or error}. Correct them under [front]")
        return exit_codes.BAD_SETTINGS
    finally:
        listener.stop()
        gc.freeze()  # what is loaded need not be taken apart object by object: that would take longer than all the rest of the end
    return exit_codes.OK
