"""`heatwarden guard`: the guard process. Standing latches come before anything else."""

import gc
import hashlib
import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from watchdog.cli import exit_codes
from watchdog.cli.output import complain
from watchdog.guard.lock import AlreadyRunningError, StateLock
from watchdog.guard.logs import start_logging
from watchdog.settings.state_place import state_directory

if TYPE_CHECKING:
    from watchdog.wiring import Standing

Stand = Callable[[Path], "Standing"]
"""Takes up what stands in a state directory."""

log = logging.getLogger("heatwarden")


def run(config: Path, state: Path | None, *, point: Callable[[str], None] = lambda _: None, stand: Stand | None = None) -> int:
    """Exit code 0 when told to stop, 1 when another guard runs here, 78 for settings that cannot be run.

    `point` is told the steps of a trip; `stand` takes up what stands with another clock than the real one.
    """
    directory = state_directory(config, state)
    try:
        directory.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = StateLock(directory)
    except AlreadyRunningError as error:
        complain(str(error))
        return exit_codes.NOT_SO
    except OSError as error:
        complain(f"the state directory {directory} cannot be used: {error.strerror}. Make it and give it to this user, mode 0700")
        return exit_codes.BAD_SETTINGS
    listener = start_logging(timestamps=True)
    try:
        return _run(config, directory, point, stand)
    finally:
        listener.stop()
        del lock


def _run(config: Path, directory: Path, point: Callable[[str], None], stand: Stand | None) -> int:
    gc.disable()  # until the guard is armed: what is loaded and built until then stays
    from watchdog.wiring import Standing, assert_latches, guard_for

    standing = (stand or Standing)(directory)
    from watchdog.settings.quick import load_quickly

    loaded = load_quickly(config, directory)
    notices: list[str] = []
    settings, texts = loaded.settings, loaded.texts
    if settings is None:
        from watchdog.settings.validated_copy import load_last

        for problem in loaded.problems:
            log.critical("settings: %s", problem)
        last = load_last(directory)
        if last.settings is None:
            complain(
                f"the settings in {config} cannot be run and there is no validated copy. `heatwarden check --config {config}` lists it all"
            )
            assert_latches(standing)
            return exit_codes.BAD_SETTINGS
        settings, texts = last.settings, last.texts
        count = len(loaded.problems)
        notices.append(
            f"THE SETTINGS ARE BROKEN ({count} problem{'s' * (count != 1)}, first: {loaded.problems[0]}): the last validated copy runs"
        )
    digest = hashlib.sha256(b"".join(name.encode() + b"\0" + texts[name] for name in sorted(texts))).hexdigest()[:16]
    guard = guard_for(settings, standing, digest=digest, notices=notices, point=point)
    guard.stop_on_signals()

    def armed() -> None:
        log.info("armed: %s", ", ".join(settings.printers))
        if loaded.settings is not None:
            from watchdog.settings.validated_copy import keep

            try:
                keep(directory, texts)
            except OSError as error:
                log.warning("the validated copy of the settings cannot be kept: %s", error)

    guard.run(armed)
    return exit_codes.OK
