"""A relay that a program opens: it writes down when it was opened, what it was given, and answers `ask`."""

import sys
from pathlib import Path

SCRIPT = """#!{python}
import os, sys, time
from pathlib import Path
place = Path({place!r})
with (place / "calls").open("a") as calls:
    calls.write(repr((sys.argv, sorted(os.environ.items()))) + "\\n")
if sys.argv[1:] == ["off"] and not (place / "off").exists():
    (place / "off.new").write_text(str(time.monotonic_ns()))
    (place / "off.new").rename(place / "off")
print("off" if (place / "off").exists() else "on")
"""


class Board:
    """The board that the program switches; `program` is its path."""

    def __init__(self, place: Path) -> None:
        place.mkdir(parents=True)
        self.place, self.program = place, place / "board"
        self.program.write_text(SCRIPT.format(python=sys.executable, place=str(place)))
        self.program.chmod(0o755)

    def off_at(self) -> float | None:
        """When it was opened, in monotonic seconds; None while it conducts."""
        off = self.place / "off"
        return int(off.read_text()) / 1e9 if off.exists() else None

    def calls(self) -> list[str]:
        """Arguments and environment of each run."""
        return (self.place / "calls").read_text().splitlines() if (self.place / "calls").exists() else []
