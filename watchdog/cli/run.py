"""`heatwarden run`: guard and front in one terminal or container, each a process of its own that is started again when it ends."""

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.main import STUCK_OPTION
from watchdog.cli.output import complain
from watchdog.guard.clock import now
from watchdog.guard.lock import AlreadyRunningError, StateLock
from watchdog.settings.state_place import state_directory

PAUSE_S = 1.0
"""Between the end of a process and its next start. A guard always comes back after this: nothing is watched meanwhile."""

LONGEST_PAUSE_S = 8.0
"""A front that ends again and again soon after its start waits longer each time, up to this."""

SOON_S = 10.0

FRONT_AFTER_S = 1.0
"""The front, whose libraries take a while to load, must not keep the guard from being armed."""

STOPS_WITHIN_S = 3.5
"""Who has not ended by then is killed, so that it all ends in less than five seconds."""

STUCK_S = 20
"""A guard whose loop stood still for so long ends itself."""

FRONT_FIRST = 500
"""Added to the front's score: a computer that runs out of memory ends the front and not the guard."""

FOR_ONE_PROCESS = ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")
"""What a service manager says to this process and not to its children."""

SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)

ENDS = {exit_codes.CRASHED: "after a fault of its own", exit_codes.STUCK: "because its loop stood still"}


@dataclass(frozen=True, slots=True)
class Ended:
    """A child has ended; `code` is negative for a signal."""

    child: "Child"
    code: int


class Child:
    """One of the two processes: started when it is due, and watched by a thread."""

    def __init__(self, name: str, arguments: list[str], ended: "queue.SimpleQueue[Ended | None]", *, steady: bool, due_at: float) -> None:
        """`steady`: its pause never grows. Times are monotonic seconds."""
        self.name, self.steady, self.due_at = name, steady, due_at
        self._command = [sys.executable, "-P", "-m", "watchdog.cli.main", *arguments]
        self._ended = ended
        self._begun_at = due_at
        self._pause_s = PAUSE_S
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, at: float) -> None:
        """Start it. A computer that is out of processes or memory for the moment is no reason to give up."""
        self._begun_at = at
        try:
            environment = {name: value for name, value in os.environ.items() if name not in FOR_ONE_PROCESS}
            self.process = subprocess.Popen(self._command, stdin=subprocess.DEVNULL, env=environment)  # noqa: S603 - our own
        except OSError as error:
            self.due_at = at + PAUSE_S
            complain(f"the {self.name} cannot be started: {error}; tried again in {PAUSE_S:g} s")
            return
        if not self.steady:
            _give_way(self.process.pid)
        threading.Thread(target=self._watch, args=(self.process,), name=self.name, daemon=True).start()

    def has_ended(self, code: int, at: float) -> None:
        """It is to be started again, after a pause."""
        self.process = None
        soon = at - self._begun_at < SOON_S
        self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S) if soon and not self.steady else PAUSE_S
        self.due_at = at + self._pause_s
        complain(f"the {self.name} ended {how(code)}; started again in {self._pause_s:g} s")

    def signal(self, number: int) -> None:
        if self.process is not None:
            self.process.send_signal(number)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def _watch(self, process: "subprocess.Popen[bytes]") -> None:
        self._ended.put(Ended(self, process.wait()))


def run(config: Path, state: Path | None) -> int:
    """Exit code 0 when told to stop, 1 when another guard runs on this state, 78 for settings that cannot be run."""
    directory = state_directory(config, state)
    ended: queue.SimpleQueue[Ended | None] = queue.SimpleQueue()
    for number in SIGNALS:
        signal.signal(number, lambda *_: ended.put(None))
    where = ["--config", str(config), "--state", str(directory)]
    guard = Child("guard", ["guard", *where, STUCK_OPTION, str(STUCK_S)], ended, steady=True, due_at=now())
    front = Child("front", ["front", *where], ended, steady=False, due_at=now() + FRONT_AFTER_S)
    code = _keep_up(guard, front, ended, directory)
    _stop([front, guard], ended)
    return code


def _keep_up(guard: Child, front: Child, ended: "queue.SimpleQueue[Ended | None]", directory: Path) -> int:
    """Start whoever is due, until told to stop or until the guard says that it cannot run at all. The exit code."""
    children = (guard, front)
    while True:
        at = now()
        for child in children:
            if child.process is None and child.due_at <= at:
                child.start(at)
        due = [child.due_at - at for child in children if child.process is None]
        try:
            what = ended.get(timeout=max(0.0, min(due))) if due else ended.get()
        except queue.Empty:
            continue
        if what is None:
            return exit_codes.OK
        if what.child is guard and is_final(what.code, directory):
            guard.process = None
            complain(f"the guard ended {how(what.code)}, and it would again: this ends too")
            return what.code
        what.child.has_ended(what.code, now())


def is_final(code: int, directory: Path) -> bool:
    """A guard that cannot run at all. An interpreter that fails ends with 1 too: then nobody holds the state directory."""
    if code == exit_codes.NOT_SO:
        try:
            StateLock(directory).release()
        except AlreadyRunningError:
            return True
        except OSError:
            return False
    return code == exit_codes.BAD_SETTINGS


def _stop(children: list[Child], ended: "queue.SimpleQueue[Ended | None]") -> None:
    for child in children:
        child.signal(signal.SIGTERM)
    until = now() + STOPS_WITHIN_S
    running = {child for child in children if child.process is not None}
    while running and now() < until:
        with contextlib.suppress(queue.Empty):
            what = ended.get(timeout=max(0.0, until - now()))
            running -= {what.child} if what is not None else set()
    for child in running:
        complain(
            f"the {child.name} did not end within {STOPS_WITHIN_S:g} s of being told to: it is killed. Relays and latches stay as they are"
        )
        child.kill()


def how(code: int) -> str:
    """How a process ended, for people."""
    if code < 0:
        return f"by signal {-code} ({signal.strsignal(-code) or 'unknown'})"
    return f"with {code}" + (f", {ENDS[code]}" if code in ENDS else "")


def _give_way(pid: int) -> None:
    """Let this process be the first to go when memory runs out."""
    with contextlib.suppress(OSError, ValueError):
        score = Path(f"/proc/{pid}/oom_score_adj")
        score.write_text(str(min(1000, int(score.read_text(encoding="ascii")) + FRONT_FIRST)), encoding="ascii")
