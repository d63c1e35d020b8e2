"""The files of a settings directory, read as they are: exact bytes, and TOML values."""

import errno
import os
import re
import stat
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from watchdog.settings.draft import Draft
from watchdog.settings.model import MAIN_FILE, PRINTERS

LARGEST_BYTES = 1_000_000
NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
LONGEST_NAME = 40
_POSITION = re.compile(r"(?s)(.*) \(at (?:line (\d+), column (\d+)|end of document)\)")


@dataclass(slots=True)
class Files:
    """What was read. `texts` holds the exact bytes by name ("heatwarden.toml", "printers/anvil.toml")."""

    texts: dict[str, bytes] = field(default_factory=dict)
    values: dict[str, dict[str, Any]] = field(default_factory=dict)
    drafts: list[Draft] = field(default_factory=list)


def read_all(directory: Path) -> Files:
    """Read the main file and every printer's. Never raises for what it finds; all of it becomes drafts."""
    files = Files()
    if not directory.is_dir():
        files.drafts.append(Draft("", (), "no-directory"))
        return files
    _read_one(directory, MAIN_FILE, files)
    names = _printer_files(directory, files)
    for name in names:
        _read_one(directory, name, files)
    return files


def _printer_files(directory: Path, files: Files) -> list[str]:
    """The names of the printers' files; what else lies there is either an editor's leaving or a mistake."""
    folder = directory / PRINTERS
    if folder.is_symlink():
        files.drafts.append(Draft(PRINTERS, (), "symbolic-link"))
        return []
    try:
        found = sorted(entry.name for entry in os.scandir(folder))
    except FileNotFoundError:
        found = []
    except OSError as error:
        files.drafts.append(Draft(PRINTERS, (), "unreadable", said={"error": error.strerror}))
        return []
    names = []
    for name in found:
        if name.startswith(".") or name.endswith("~"):
            continue
        stem, dot_toml, rest = name.rpartition(".toml")
        if not dot_toml or rest:
            files.drafts.append(Draft(f"{PRINTERS}/{name}", (), "stray-file"))
            continue
        if not is_name(stem):
            files.drafts.append(Draft(f"{PRINTERS}/{name}", (), "printer-name", stem))
        names.append(f"{PRINTERS}/{name}")
    if not names:
        files.drafts.append(Draft(PRINTERS, (), "no-printers"))
    return names


def printer_name(file: str) -> str:
    """The name of the printer whose file this is."""
    return file.removeprefix(f"{PRINTERS}/").removesuffix(".toml")


def is_name(text: str) -> bool:
    """True for a name that fits topics, file names and command lines alike."""
    return len(text) <= LONGEST_NAME and NAME.fullmatch(text) is not None


def _read_one(directory: Path, name: str, files: Files) -> None:
    try:
        raw = _read_plain_file(directory / name)
    except FileNotFoundError:
        files.drafts.append(Draft(name, (), "no-file"))
        return
    except OSError as error:
        code = "symbolic-link" if error.errno == errno.ELOOP else "unreadable"
        files.drafts.append(Draft(name, (), code, said={"error": error.strerror}))
        return
    files.texts[name] = raw
    if len(raw) > LARGEST_BYTES:
        files.drafts.append(Draft(name, (), "too-big", said={"largest": LARGEST_BYTES}))
        return
    if raw.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        files.drafts.append(Draft(name, (), "byte-order-mark", line=1))
        return
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        files.drafts.append(Draft(name, (), "not-utf-8", said={"byte": f"0x{raw[error.start]:02x}"}, line=line))
        return
    _parse(name, text, files)


def _parse(name: str, text: str, files: Files) -> None:
    try:
        files.values[name] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        match = _POSITION.fullmatch(str(error))
        said, line, column = match.groups() if match else (str(error), None, None)
        where = f" at column {column}" if column else ""
        last = len(text.splitlines()) or 1
        files.drafts.append(Draft(name, (), "not-toml", said={"what": said, "where": where}, line=int(line or last)))
    except (ValueError, RecursionError):  # a number of thousands of digits; thousands of brackets
        files.drafts.append(Draft(name, (), "absurd-toml"))


def _read_plain_file(path: Path) -> bytes:
    """Exact bytes, at most one more than allowed. Follows no link, and waits for no pipe."""
    number = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    if not stat.S_ISREG(os.fstat(number).st_mode):
        os.close(number)
        raise OSError(errno.EINVAL, "not a plain file")
    with os.fdopen(number, "rb") as file:
        return file.read(LARGEST_BYTES + 1)
