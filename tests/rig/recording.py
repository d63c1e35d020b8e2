"""What the tests of the recorder share: records of a run, and a way to fill a disk."""

import os
import time
from pathlib import Path

from watchdog.core.outputs import Event, EventKind, Level
from watchdog.recorder.records import EventRecord, StartRecord, StopRecord
from watchdog.recorder.writer import Recorder

DAY_US = 86_400_000_000
NEW_YEAR_US = 1_767_225_600_000_000


def wall_us() -> int:
    return time.time_ns() // 1000


def engine_s() -> float:
    return time.perf_counter()


class Run:
    """The records of one run of a guard, numbered from 1."""

    def __init__(self, name: str = "run-1", at_us: int = NEW_YEAR_US) -> None:
        self.name = name
        self.seq = 0
        self.at_us = at_us

    def start(self) -> StartRecord:
        self.seq += 1
        return StartRecord(self.name, self.seq, self.at_us + self.seq, float(self.seq), "0.1.0", "abc")

    def stop(self, how: str = "asked to stop") -> StopRecord:
        self.seq += 1
        return StopRecord(self.name, self.seq, self.at_us + self.seq, float(self.seq), how)

    def event(self, kind: EventKind = "advice", sentence: str = "the bed is slow", **more: str) -> EventRecord:
        self.seq += 1
        level: Level = "alarm" if kind == "trip" else "info"
        named = {"printer": "anvil", "heater": "bed"} | more
        event = Event(float(self.seq), kind, level, sentence, numbers={"temperature_c": 61.25}, **named)
        return EventRecord(self.name, self.seq, self.at_us + self.seq, event)

    def trip(self, trip: str = "anvil-1", check: str = "ceiling", **more: str) -> EventRecord:
        return self.event("trip", "the bed is above its ceiling", trip=trip, check=check, **more)


def recorder(path: Path | str, *, keep_days: float | None = None, limit: int = 20_000, urgent_limit: int = 2_000) -> Recorder:
    return Recorder(path, engine_s, wall_us, keep_days=keep_days, limit=limit, urgent_limit=urgent_limit)


def fill(folder: Path) -> Path:
    """Take all the room that is left on the file system of this folder."""
    filler = folder / "filler"
    descriptor = os.open(filler, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    try:
        while True:
            os.write(descriptor, bytes(4096))
    except OSError:
        return filler
    finally:
        os.close(descriptor)
