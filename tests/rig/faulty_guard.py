"""A guard with faults of its own, for what no input from outside can bring about.

It is held up for some seconds while it judges a reading of 66 degC, or while it answers what the headroom is. The handler of a
reading raises whenever one of 77 degC comes.
"""

import argparse
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from watchdog.cli import guard
from watchdog.core.engine import Engine
from watchdog.guard.inbox import Inbox

JUDGING_S = 6.5
ANSWERING_S = 9.0
SLOW_C = 66.0
ERROR_C = 77.0


def make_slow() -> None:
    feed: Callable[..., Any] = Engine.feed
    headroom: Callable[..., Any] = Engine.take_headroom

    def slow_feed(engine: Engine, item: Any) -> Any:
        if getattr(item, "temperature_c", None) == SLOW_C:
            threading.Event().wait(JUDGING_S)
        return feed(engine, item)

    def slow_headroom(engine: Engine) -> Any:
        threading.Event().wait(ANSWERING_S)
        return headroom(engine)

    Engine.feed = slow_feed  # type: ignore[assignment, method-assign]  # this process exists for that
    Engine.take_headroom = slow_headroom  # type: ignore[assignment, method-assign]  # as above


def make_fail() -> None:
    reading: Callable[..., Any] = Inbox.reading

    def failing(inbox: Inbox, item: Any) -> None:
        if getattr(item, "temperature_c", None) == ERROR_C:
            raise RuntimeError("a fault of the program")
        reading(inbox, item)

    Inbox.reading = failing  # type: ignore[assignment, method-assign]  # as above


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--config", type=Path, required=True)
    parser.add_argument("--state", type=Path, required=True)
    options = parser.parse_args()
    make_slow()
    make_fail()
    return guard.run(options.config, options.state)


if __name__ == "__main__":
    sys.exit(main())
