"""Drafts become problems: words, lines, the nearest right name, and no secrets. Imported only when something is wrong."""

import datetime as dt
import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from watchdog.settings.catalogue import CATALOGUE
from watchdog.settings.describe import allowed_at, keys_at, one_of, unit_of, words_at
from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE, MainFile, PrinterFile
from watchdog.settings.read import Files

_SECRET_WORDS = ("password", "passwd", "passphrase", "secret", "token", "credential", "private", "api_key", "apikey", "pin_code")
_LONGEST_SHOWN = 200

_NOT_SHOWN: tuple[tuple[tuple[type, ...], str], ...] = (
    ((dict,), "a table"),
    ((list, tuple), "a list"),
    ((dt.date, dt.time), "a date or a time"),
)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that must be mended. `file` is relative to the settings directory ("" is the directory itself).

    `line` counts from 1; 0 means that no line can be given. `code` is the entry of the catalogue, for programs.
    """

    file: str
    line: int
    key: str
    found: str
    allowed: str
    hint: str
    code: str

    def __str__(self) -> str:
        where = f"{self.file or '.'}:{self.line}" if self.line else self.file or "."
        return f"{where}: {self.key + ': ' if self.key else ''}found {self.found}; allowed: {self.allowed}; {self.hint}"


def problems(drafts: Iterable[Draft], files: Files) -> tuple[Problem, ...]:
    """All of them in the order of files and lines; the same one only once."""
    lines = {draft.file: _lines_of(files, draft.file) for draft in drafts}
    found = {_problem(draft, lines[draft.file], files): None for draft in drafts}
    return tuple(sorted(found, key=lambda problem: (problem.file != MAIN_FILE, problem.file, problem.line)))


def _lines_of(files: Files, file: str) -> Any:  # noqa: ANN401 - Lines, whose module must load late
    if file not in files.values:
        return None
    try:
        from watchdog.settings.lines import Lines  # noqa: PLC0415 - a start without problems must not pay for it
    except ImportError:  # no wheel for this machine: a problem without its line is still a problem told
        return None
    return Lines(files.texts[file])


def _problem(draft: Draft, lines: Any, files: Files) -> Problem:  # noqa: ANN401 - Lines, whose module must load late
    entry = CATALOGUE[draft.code]
    root = MainFile if draft.file == MAIN_FILE else PrinterFile
    values = files.values.get(draft.file, {})
    names = draft.names
    said: dict[str, object] = {key: _printable(str(value)) for key, value in draft.said.items()}
    wrong = draft.value
    if draft.code == "unknown-key":
        names, wrong = keys_at(root, values, draft.path[:-1]), draft.path[-1]
    elif draft.code == "unknown-word":
        names = words_at(root, values, draft.path)
    if draft.code in {"unknown-word", "wrong-type", "missing-key"}:
        said["allowed"] = allowed_at(root, values, draft.path)
    in_text = '"{value}"' in entry.found
    said["value"] = _clean(str(draft.value)) if in_text else shown(draft.path, draft.value)
    if draft.code == "out-of-bounds" and unit_of(draft.path[-1]):
        said["bounds"] = f"{said['bounds']} {unit_of(draft.path[-1])}"
    names = tuple(_printable(name) for name in names)
    said["names"] = one_of(names) if names else "none is described yet"
    return Problem(
        file=_clean(draft.file),
        line=draft.line or (lines.of(draft.path) if lines and draft.path else 0),
        key=dotted(draft.path),
        found=entry.found.format_map(said),
        allowed=entry.allowed.format_map(said),
        hint=_nearest(wrong, names, draft.path) or entry.hint.format_map(said),
        code=draft.code,
    )


def _nearest(wrong: object, names: tuple[str, ...], path: KeyPath) -> str:
    if path[-1:] == ("supply",) and any(word in str(wrong).upper() for word in ("AC", "110", "115", "120", "220", "230", "240")):
        return 'did you mean "mains"?'
    near = difflib.get_close_matches(str(wrong), names, n=1)
    return f'did you mean "{near[0]}"?' if near else ""


def dotted(path: KeyPath) -> str:
    """A key path for people: heaters.bed.readings.topic, relays[1]."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{_clean(part)}" if text else _clean(part)
    return text


def shown(path: KeyPath, value: Any) -> str:  # noqa: ANN401 - any TOML value
    """What was found, fit for a terminal and a log: short, without control characters, and never a secret."""
    for types, words in _NOT_SHOWN:
        if isinstance(value, types):
            return words
    if isinstance(value, bool):
        return "true" if value else "false"
    text = isinstance(value, str)
    if _in_the_place_of_a_secret(path, value):
        return f"{'a text' if text else 'a number'} (not shown)"
    if text:
        return f'"{_clean(value)}"'
    return f"{value:g}" if isinstance(value, float) else _clean(str(value))


def _in_the_place_of_a_secret(path: KeyPath, value: object) -> bool:
    words = [part.lower() for part in path if isinstance(part, str)]
    if any(secret in word for word in words for secret in _SECRET_WORDS):
        return True
    in_a_command = words[:1] == ["relays"] and words[2:3] in (["off"], ["ask"]) and path[3:] != (0,)
    in_a_request = words[:1] == ["relays"] and any(word in {"headers", "body"} for word in words[2:])
    in_an_address = isinstance(value, str) and "@" in value
    return in_a_command or in_a_request or in_an_address


def _printable(text: str) -> str:
    """Without what could steer a terminal or turn a line around."""
    return "".join(letter if letter.isprintable() else f"\\u{ord(letter):04x}" for letter in text)


def _clean(text: str) -> str:
    """Printable characters only, and not too many."""
    safe = _printable(text)
    return safe if len(safe) <= _LONGEST_SHOWN else safe[:_LONGEST_SHOWN] + "..."
