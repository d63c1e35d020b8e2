"""The demo as people start it: a process of its own, in a process group of its own, as a terminal makes one."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

AS_INSTALLED = (sys.executable, "-m", "watchdog.cli.main")


class Demo:
    """One run. What it says is gathered while it runs."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.process = process
        self._said = {"out": bytearray(), "err": bytearray()}
        assert process.stdout is not None
        assert process.stderr is not None
        self._ears = [
            threading.Thread(target=self._hear, args=(process.stdout.fileno(), "out"), daemon=True),
            threading.Thread(target=self._hear, args=(process.stderr.fileno(), "err"), daemon=True),
        ]
        for ear in self._ears:
            ear.start()

    @property
    def out(self) -> str:
        return self._said["out"].decode()

    @property
    def err(self) -> str:
        return self._said["err"].decode()

    def interrupt(self) -> None:
        """Ctrl-C: a terminal sends it to the whole group, so that the guard gets it too."""
        os.killpg(self.process.pid, signal.SIGINT)

    def ended_within(self, within_s: float) -> int | None:
        """The exit code; None while it runs."""
        try:
            code = self.process.wait(within_s)
        except subprocess.TimeoutExpired:
            return None
        for ear in self._ears:
            ear.join(5.0)
        return code

    def others(self) -> list[int]:
        """Processes of its group that are still there, itself apart."""
        found = []
        for entry in Path("/proc").iterdir():
            with suppress(OSError, ValueError):
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
                if int(fields[2]) == self.process.pid != int(entry.name) and fields[0] != "Z":
                    found.append(int(entry.name))
        return found

    def _hear(self, file: int, where: str) -> None:
        while piece := os.read(file, 65536):
            self._said[where] += piece


@contextmanager
def demo(*options: str, command: tuple[str, ...] = AS_INSTALLED) -> Iterator[Demo]:
    """A demo that has been started; whatever is left of it at the end is killed."""
    process = subprocess.Popen(
        [*command, "demo", *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, process_group=0
    )
    run = Demo(process)
    try:
        yield run
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        for ear in run._ears:
            ear.join(5.0)
        for pipe in (process.stdout, process.stderr):
            assert pipe is not None
            pipe.close()
