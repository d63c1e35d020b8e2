"""Counts starts of the guard that did not end well: a small file that stands while it is not known yet whether this one will."""

import logging
from pathlib import Path

log = logging.getLogger("heatwarden")

NAME = "starts"
MOST_BYTES = 200


class Starts:
    """Written before anything can fail, taken away once the guard has run well for a while or was told to stop.

    What is found at a start was left by guards that died early. Nothing is synced: it is for a process that dies, and after
    a power cut the count may begin anew. Never raises.
    """

    def __init__(self, folder: Path) -> None:
        """Count this start in `folder`."""
        self._path = folder / NAME
        self._died, self._digest = self._read()
        self._write()

    def died_with(self, digest: str) -> int:
        """How many guards in a row died soon after their start with the settings of this digest. Other ones begin at none."""
        if digest != self._digest:
            self._died = 0 if self._digest else self._died
            self._digest = digest
            self._write()
        return self._died

    def well(self) -> None:
        """This one has run well, or was told to stop: the next start begins at none."""
        try:
            self._path.unlink(missing_ok=True)
        except OSError as error:
            log.warning("%s cannot be removed, a later start may take this one for a crash: %s", self._path, error)

    def _read(self) -> tuple[int, str]:
        try:
            with self._path.open("rb") as file:
                words = file.read(MOST_BYTES).decode("ascii").split()
            return max(int(words[0]), 0), words[1] if len(words) > 1 else ""
        except FileNotFoundError:
            return 0, ""
        except (OSError, ValueError, IndexError) as error:
            log.warning("%s cannot be read, crashes before this start are not counted: %s", self._path, error)
            return 0, ""

    def _write(self) -> None:
        try:
            self._path.write_text(f"{self._died + 1} {self._digest}\n", encoding="ascii")
        except OSError as error:
            log.warning("%s cannot be written, this start is not counted: %s", self._path, error)
