"""A relay that cuts nothing: for trying things out."""

from pathlib import Path
from typing import Final

from watchdog.core.inputs import RelayReport
from watchdog.relays.around import Around
from watchdog.settings.addresses import PretendRelay

NOTE: Final = "a pretend relay: it cuts nothing"


class PretendDriver:
    """Writes each command as a line to a file, if one is given, and echoes it at once."""

    def __init__(self, name: str, address: PretendRelay, around: Around) -> None:
        """Opens nothing yet; the file is appended to command by command."""
        self.name = name
        self._file = Path(address.file) if address.file else None
        self._around = around

    def start(self) -> None:
        """Always there."""
        self._say(RelayReport(self.name, self._around.now(), reachable=True, why=NOTE))

    def off(self, order: int) -> None:
        """Write, acknowledge, echo. A file that cannot be written fails the command."""
        try:
            if self._file is not None:
                with self._file.open("a", encoding="utf-8") as lines:
                    lines.write(f"{self._around.now():.6f} {self.name} off order {order}\n")
        except (OSError, ValueError) as error:
            self._say(RelayReport(self.name, self._around.now(), sent=False, order=order, why=f"cannot write {self._file}: {error}"))
            return
        self._say(RelayReport(self.name, self._around.now(), sent=True, order=order, why=NOTE))
        self._say(RelayReport(self.name, self._around.now(), state="off", why=NOTE))

    def stop(self) -> None:
        """Holds nothing."""

    def _say(self, report: RelayReport) -> None:
        self._around.report(report)
