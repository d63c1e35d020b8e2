"""The last settings that were found good, kept beside the latch: for a start on which the settings are broken.

And those under which a guard last ran well, for when the guard dies of settings that were found good.

Only the texts of the settings files are kept, which name secrets and never hold them: the guard's group may read them.
"""

import os
import shutil
import zlib
from pathlib import Path

import watchdog
from watchdog.settings import addresses, feeds, model, relay_tables
from watchdog.settings.load import Loaded, load
from watchdog.settings.model import MAIN_FILE, PRINTERS
from watchdog.wire import feed

FOLDER = "validated"
PROVEN = "proven"
"""Not only found good: a guard ran well with them."""
_STAMP = "checked-by"


def keep(state: Path, texts: dict[str, bytes], name: str = FOLDER) -> None:
    """Keep these texts as the last good ones, in the folder `name` of `state`. At every moment, one whole copy stands.

    Writes nothing when they are there already. Raises OSError; the older copy then still stands.
    """
    if kept(state, name) == texts:
        return
    new, folder, old = (state / f"{name}{ending}" for ending in (".new", "", ".old"))
    shutil.rmtree(new, ignore_errors=True)
    for directory in (new, new / PRINTERS):
        directory.mkdir(mode=0o750)
    for file, text in (texts | {_STAMP: _stamp()}).items():
        _write(new / file, text)
    for directory in (new / PRINTERS, new):
        _sync_folder(directory)
    if folder.exists():
        shutil.rmtree(old, ignore_errors=True)
        folder.rename(old)
    new.rename(folder)
    _sync_folder(state)
    shutil.rmtree(old, ignore_errors=True)


def kept(state: Path, name: str = FOLDER) -> dict[str, bytes] | None:
    """The exact texts of the last good settings, if this very version found them good; else None."""
    folder = state / name
    try:
        if (folder / _STAMP).read_bytes() != _stamp():
            return None
        names = [MAIN_FILE, *sorted(f"{PRINTERS}/{entry.name}" for entry in os.scandir(folder / PRINTERS))]
        return {file: (folder / file).read_bytes() for file in names}
    except OSError:
        return None


def load_last(state: Path, name: str = FOLDER) -> Loaded:
    """The last good settings, judged anew by themselves. Neither settings nor problems: there is no copy.

    Secret files and programs are not looked at: with one of them gone, guarding goes on as well as it can.
    """
    for folder in (state / name, state / f"{name}.old"):  # the second, when the power went between two renames
        if os.access(folder / MAIN_FILE, os.R_OK):
            return load(folder, outside=False)
    return Loaded(None)


def _stamp() -> bytes:
    """Tells one version of what may stand in the files from another."""
    sum_of_sources = 0
    for module in (model, relay_tables, addresses, feeds, feed):
        sum_of_sources = zlib.crc32(Path(str(module.__file__)).read_bytes(), sum_of_sources)
    return f"heatwarden {watchdog.__version__} {sum_of_sources:08x}\n".encode()


def _write(path: Path, text: bytes) -> None:
    number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o640)
    with os.fdopen(number, "wb") as file:
        file.write(text)
        file.flush()
        os.fsync(number)


def _sync_folder(path: Path) -> None:
    number = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(number)
    finally:
        os.close(number)
