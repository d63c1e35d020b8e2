"""What the show needs around the printers: a folder, an end that any signal can bring about, and a real guard process."""

import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from watchdog.cli.client import SOCKET, NoGuardError, ask_at
from watchdog.core.values import JsonObject
from watchdog.recorder.reader import Reader, RecordUnreadable
from watchdog.recorder.rows import EventRow, TripRow
from watchdog.wire.control import Request

RECORD = "record.sqlite"
STARTS_WITHIN_S = 15.0
STOPS_WITHIN_S = 2.0
LOOK_EVERY_S = 0.25
LAST_WORDS = 12
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class NotStagedError(Exception):
    """The show cannot begin; the text says why and what to do."""


@contextmanager
def stopped_by_signals() -> Iterator[threading.Event]:
    """An event that Ctrl-C and its like set, instead of breaking off whatever is under way."""
    stop = threading.Event()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in SIGNALS}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def folder_of(keep: Path | None) -> Iterator[Path]:
    """Where settings, state and log go: `keep`, or a directory that goes with the show. Raises NotStagedError."""
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="heatwarden-demo-") as name:
            yield Path(name)
        return
    if (keep / "state").exists():
        raise NotStagedError(f"{keep} holds an earlier demo, and its latches would stand: name another directory, or delete that one")
    try:
        keep.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotStagedError(f"the directory {keep} cannot be made: {error.strerror}") from None
    yield keep


class GuardProcess:
    """The real guard, by the workshop's clock, as the show sees it from outside: over its socket and its record."""

    def __init__(self, config: Path, state: Path, log: Path) -> None:
        self.config, self.state, self.log = config, state, log
        self._reader: Reader | None = None

    @contextmanager
    def running(self) -> Iterator[None]:
        """Started now, stopped at the end; also when the show itself is killed."""
        command = [sys.executable, "-m", "watchdog.cli.show.fast_guard", str(self.config)]
        with self.log.open("wb") as output:
            process = subprocess.Popen(  # noqa: S603 - our own
                command, stdin=subprocess.PIPE, stdout=output, stderr=output, env=os.environ | {"STATE_DIRECTORY": ""}
            )
        try:
            yield
        finally:
            process.terminate()
            try:
                process.wait(STOPS_WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdin is not None:
                process.stdin.close()

    def ready(self, stop: threading.Event) -> bool:
        """Wait until it hears every source and reaches every plug; False when told to stop before. Raises NoGuardError."""
        waited_s = 0.0
        while not stop.wait(LOOK_EVERY_S):
            waited_s += LOOK_EVERY_S
            try:
                status = self.status()
            except NoGuardError:
                if waited_s > STARTS_WITHIN_S:
                    raise
                continue
            if all(link["connected"] for link in status["links"]) and all(relay["reachable"] for relay in status["relays"]):
                return True
            if waited_s > STARTS_WITHIN_S:
                raise NoGuardError(f"the guard does not reach its broker and all plugs within {STARTS_WITHIN_S:.0f} s")
        return False

    def status(self) -> JsonObject:
        """What it says of itself. Raises NoGuardError."""
        status: JsonObject = ask_at(self.state / SOCKET, Request("status"))["status"]
        return status

    def events(self, after_id: int) -> list[EventRow]:
        """What has come to its record since; nothing while there is no record yet."""
        try:
            return self._record().events(after_id=after_id)
        except RecordUnreadable:  # it is opened only after the guard is armed
            return []

    def trips(self) -> list[TripRow]:
        """The trips on record, the newest first. Raises RecordUnreadable."""
        return self._record().trips()

    def last_words(self) -> list[str]:
        """The last lines of its log."""
        return self.log.read_text(encoding="utf-8", errors="replace").splitlines()[-LAST_WORDS:]

    def _record(self) -> Reader:
        if self._reader is None:
            self._reader = Reader(self.state / RECORD)
        return self._reader
