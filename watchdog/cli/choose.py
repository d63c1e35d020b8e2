"""Which settings a guard runs: those in the files, or those that were in charge before, when the files cannot be run or kill the guard."""

import hashlib
import logging
from pathlib import Path
from typing import NamedTuple

from watchdog.guard.starts import Starts
from watchdog.settings.load import Loaded
from watchdog.settings.model import Settings
from watchdog.settings.quick import load_quickly

log = logging.getLogger("heatwarden")

MOST_DEATHS = 3
"""So many guards in a row died soon after their start: what they had in common is not tried again."""


class Chosen(NamedTuple):
    """`settings` None: there are none to run. `own`: they are those in the files. `notices` are for people."""

    settings: Settings | None
    texts: dict[str, bytes]
    own: bool
    notices: list[str]

    @property
    def digest(self) -> str:
        """What tells these settings from others."""
        return digest_of(self.texts)


def choose(config: Path, directory: Path, starts: Starts) -> Chosen:
    """Read the settings in `config`; `directory` holds what was kept of earlier ones."""
    loaded = load_quickly(config, directory)
    died = starts.died_with(digest_of(loaded.texts))
    if loaded.settings is not None and died < MOST_DEATHS:
        return Chosen(loaded.settings, loaded.texts, own=True, notices=[])
    notices = []
    if loaded.settings is None:
        for problem in loaded.problems:
            log.critical("settings: %s", problem)
        count = len(loaded.problems)
        many = f"{count} problem{'s' * (count != 1)}, first: {loaded.problems[0]}"
        notices.append(f"THE SETTINGS ARE BROKEN ({many}): the last validated copy runs")
    last = _kept(directory, died)
    if died >= MOST_DEATHS:
        notices.append(_dying(config, died, loaded, last))
    if last.settings is not None:
        return Chosen(last.settings, last.texts, own=False, notices=notices)
    return Chosen(loaded.settings, loaded.texts, own=True, notices=notices)


def digest_of(texts: dict[str, bytes]) -> str:
    """Sixteen hexadecimal digits over names and contents."""
    return hashlib.sha256(b"".join(name.encode() + b"\0" + texts[name] for name in sorted(texts))).hexdigest()[:16]


def _kept(directory: Path, died: int) -> Loaded:
    from watchdog.settings.validated_copy import PROVEN, load_last

    proven = load_last(directory, PROVEN) if died >= MOST_DEATHS else Loaded(None)
    return load_last(directory) if proven.settings is None else proven


def _dying(config: Path, died: int, loaded: Loaded, last: Loaded) -> str:
    begin = f"THE GUARD DIED {died} TIMES IN A ROW SOON AFTER ITS START"
    if last.settings is None:
        return f"{begin}, and there are no earlier settings to go back to: those in {config} are tried again. Look at its log"
    if last.texts == loaded.texts:
        return f"{begin}, with the settings that were good before: the cause is another one. Look at its log"
    return f"{begin}: the last good settings run, and those in {config} do not. Mend them, or look at its log, and start it again"
