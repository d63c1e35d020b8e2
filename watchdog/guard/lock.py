"""One guard a state directory."""

import fcntl
import os
from pathlib import Path


class AlreadyRunningError(Exception):
    """Another guard holds the state directory."""


class StateLock:
    """An advisory lock on a file in the state directory; the kernel drops it when the process ends, however it ends."""

    def __init__(self, directory: Path) -> None:
        path = directory / "guard.lock"
        self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(self._descriptor)
            raise AlreadyRunningError(f"another guard is already running on {directory}") from None

    def release(self) -> None:
        """Let go of it before the process ends."""
        os.close(self._descriptor)
