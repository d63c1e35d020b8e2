"""A guard with faults of its own, for what no input from outside can bring about.

It is held up for some seconds while it judges a reading of 66 degC, or while it answers what the headroom is. The handler of a
reading raises whenever one of 77 degC comes. One of 55 degC is judged for ever, because a lock is taken twice. With `--die` it
crashes while it starts.
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
from watchdog.guard.loop import Loop

JUDGING_S = 6.5
ANSWERING_S = 9.0
SLOW_C = 66.0
ERROR_C = 77.0
DEADLY_C = 55.0


def make_slow() -> None:
    feed: Callable[..., Any] = Engine.feed
    headroom: Callable[..., Any] = Engine.take_headroom

    def slow_feed(engine: Engine, item: Any) -> Any:
        if getattr(item, "temperature_c", None) == SLOW_C:
            threading.Event().wait(JUDGING_S)
        if getattr(item, "temperature_c", None) == DEADLY_C:
            take_a_lock_twice()
        return feed(engine, item)

    def slow_headroom(engine: Engine) -> Any:
        threading.Event().wait(ANSWERING_S)
        return headroom(engine)

    Engine.feed = slow_feed  # type: ignore[assignment, method-assign]  # this process exists for that
    Engine.take_headroom = slow_headroom  # type: ignore[assignment, method-assign]  # as above


def take_a_lock_twice() -> None:
    lock = threading.Lock()
    with lock:
        lock.acquire()


def make_die() -> None:
    def dying(*_: Any, **__: Any) -> Any:
        raise RuntimeError("a fault of the program")

    Loop.__init__ = dying  # type: ignore[method-assign]  # as above


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
    parser.add_argument("--end-when-stuck", type=float, default=0.0)
    parser.add_argument("--die", action="store_true")
    options = parser.parse_args()
    make_slow()
    make_fail()
    if options.die:
        make_die()
    return guard.run(options.config, options.state, options.end_when_stuck)


if __name__ == "__main__":
    sys.exit(main())
