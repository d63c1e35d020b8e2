"""`python -m watchdog.cli.show.fast_guard CONFIG`: the real guard, by the workshop's clock. It ends when its standard input does."""

import os
import signal
import sys
import threading
from pathlib import Path

from watchdog.cli import guard
from watchdog.cli.show.pace import FAST, FastInbox
from watchdog.wiring import Standing


def main() -> int:
    """Exit codes are those of `heatwarden guard`."""
    threading.Thread(target=_end_with_the_demo, name="demo", daemon=True).start()
    return guard.run(Path(sys.argv[1]), None, stand=lambda state: Standing(state, FAST, FastInbox()))


def _end_with_the_demo() -> None:
    """However the demo ends, a guard of pretend printers must not outlive it."""
    while os.read(0, 64):
        pass
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    sys.exit(main())
