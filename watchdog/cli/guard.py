"""`heatwarden guard`: the guard process. Standing latches come before anything else."""

import faulthandler
import gc
import logging
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from watchdog.cli import exit_codes
from watchdog.cli.output import complain
from watchdog.guard.lock import AlreadyRunningError, StateLock
from watchdog.guard.logs import start_logging
from watchdog.settings.state_place import state_directory

if TYPE_CHECKING:
    from watchdog.cli.choose import Chosen
    from watchdog.guard.process import Guard
    from watchdog.guard.service_manager import ServiceManager
    from watchdog.guard.starts import Starts
    from watchdog.guard.vital import Vital
    from watchdog.wiring import Standing

Stand = Callable[[Path], "Standing"]
"""Takes up what stands in a state directory."""

log = logging.getLogger("heatwarden")

NOT_FOR_OTHERS = 0o027
"""Who is no member of the guard's group can read nothing that it makes, and only the guard can write."""

STDERR = 2

LAST_WORDS_S = 2.0


def run(
    config: Path,
    state: Path | None,
    end_when_stuck_s: float = 0.0,
    *,
    point: Callable[[str], None] = lambda _: None,
    stand: Stand | None = None,
) -> int:
    """Exit code 0 when told to stop, 1 when another guard runs here, 70 after a fault of its own, 78 for settings that cannot be run.

    After a stall of the loop of `end_when_stuck_s` the process ends with 75; 0: never. `point` is told the steps of a trip;
    `stand` takes up what stands with another clock than the real one.
    """
    faulthandler.enable(STDERR)  # a signal that aborts the guard shows where each of its threads stood
    os.umask(os.umask(NOT_FOR_OTHERS) | NOT_FOR_OTHERS)
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
    listener = start_logging(timestamps="JOURNAL_STREAM" not in os.environ)
    try:
        return _run(config, directory, point, stand, end_when_stuck_s)
    except Exception:
        log.critical("the guard ends after a fault of its own; relays stay as they are", exc_info=True)
        return exit_codes.CRASHED
    finally:
        listener.stop()
        del lock


def _run(config: Path, directory: Path, point: Callable[[str], None], stand: Stand | None, end_when_stuck_s: float) -> int:
    gc.disable()  # until the guard is armed: what is loaded and built until then stays
    from watchdog.guard.starts import Starts
    from watchdog.wiring import Standing, assert_latches, guard_for

    starts = Starts(directory)
    standing = (stand or Standing)(directory)
    from watchdog.cli.choose import choose

    chosen = choose(config, directory, starts)
    if chosen.settings is None:
        complain(
            f"the settings in {config} cannot be run and there is no validated copy. `heatwarden check --config {config}` lists it all"
        )
        assert_latches(standing)
        starts.well()  # it did what it could
        return exit_codes.BAD_SETTINGS
    guard = guard_for(chosen.settings, standing, digest=chosen.digest, notices=chosen.notices, point=point)
    guard.stop_on_signals()
    vital = _vital(guard, directory, chosen, starts, end_when_stuck_s)

    def armed() -> None:
        log.info("armed: %s", ", ".join(guard.engine.site.printers))
        vital.start()
        _keep(directory, chosen)

    guard.run(armed, vital.stop)
    starts.well()
    return exit_codes.OK


def _vital(guard: "Guard", directory: Path, chosen: "Chosen", starts: "Starts", end_when_stuck_s: float) -> "Vital":
    from watchdog.guard.clock import now
    from watchdog.guard.vital import Vital

    def on_well() -> None:
        from watchdog.settings.validated_copy import PROVEN

        starts.well()
        _keep(directory, chosen, PROVEN)

    printers = guard.engine.site.printers

    def status() -> str:
        tripped = [name for name, printer in printers.items() if printer.latch is not None]
        return f"TRIPPED: {', '.join(tripped)}" if tripped else f"watching {', '.join(printers)}"

    return Vital(
        lambda: guard.loop.turns, now, status=status, manager=_manager, on_well=on_well, end_when_stuck_s=end_when_stuck_s, end=_end_stuck
    )


def _manager() -> "ServiceManager | None":
    if not os.environ.get("NOTIFY_SOCKET"):
        return None
    from watchdog.guard.service_manager import ServiceManager

    return ServiceManager()


def _end_stuck(stalled_s: float) -> NoReturn:
    """End now, and show where each thread stands; a standard error that takes no more words must not hold that up."""
    threading.Thread(target=_end_anyway, daemon=True).start()
    sys.stderr.write(f"CRITICAL the loop has not turned for {stalled_s:.1f} s: the guard ends itself; relays stay as they are\n")
    sys.stderr.flush()
    faulthandler.dump_traceback(STDERR, all_threads=True)
    os._exit(exit_codes.STUCK)


def _end_anyway() -> None:
    threading.Event().wait(LAST_WORDS_S)
    os._exit(exit_codes.STUCK)


def _keep(directory: Path, chosen: "Chosen", name: str | None = None) -> None:
    """Keep a copy of settings that came from the files, in the folder `name`; None: the usual one."""
    if not chosen.own:
        return
    from watchdog.settings.validated_copy import FOLDER, keep

    try:
        keep(directory, chosen.texts, name or FOLDER)
    except OSError as error:
        log.warning("the validated copy of the settings cannot be kept: %s", error)
