"""A guard that kills itself at a named point: `python tests/rig/kill_at.py --at marked --config DIR --state DIR`.

The points are those of the product (see watchdog.guard.hands and watchdog.wiring), and "latch written": the bytes of the latch
are written, and their fsync is not yet called. `--nth 2` waits for the second time, as for the release that follows a trip.
"""

import argparse
import os
import signal
import sys
from pathlib import Path

from watchdog import wiring
from watchdog.cli import guard
from watchdog.latch.port import OsFilePort
from watchdog.latch.store import NAME


class Killer:
    """Called at each point; ends this process at the one that it waits for."""

    def __init__(self, at: str, nth: int) -> None:
        self._at, self._left = at, nth
        self.queued = 0
        """Changes of a latch that wait to be written."""

    def __call__(self, point: str) -> None:
        self.queued += point == "latch queued"
        if point == self._at:
            self._left -= 1
            if self._left == 0:
                os.kill(os.getpid(), signal.SIGKILL)


def tell_of_writes(killer: Killer) -> None:
    """Give the guard a file port that tells of the first write of the latch file after each change."""
    told = [0]

    class Telling(OsFilePort):
        def sync(self, name: str) -> None:
            if name == NAME and told[0] < killer.queued:
                told[0] = killer.queued
                killer("latch written")
            super().sync(name)

    vars(wiring)["OsFilePort"] = Telling  # the guard takes no port as an argument: nobody else needs another one


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--at", required=True)
    parser.add_argument("--nth", type=int, default=1)
    parser.add_argument("--config", type=Path, required=True)
    parser.add_argument("--state", type=Path, required=True)
    options = parser.parse_args()
    killer = Killer(options.at, options.nth)
    tell_of_writes(killer)
    return guard.run(options.config, options.state, point=killer)


if __name__ == "__main__":
    sys.exit(main())
