"""One file's values against its model: unknown keys, missing keys, wrong types, wrong words, all of them at once."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails, to_json

from watchdog.settings.draft import Draft, KeyPath

T = TypeVar("T")

_CODES = {
    "unexpected_keyword_argument": "unknown-key",
    "missing": "missing-key",
    "finite_number": "not-finite",
    "literal_error": "unknown-word",
    "union_tag_invalid": "unknown-word",
    "union_tag_not_found": "missing-key",
}
"""Everything else that pydantic can find is a wrong type."""

_STAND_INS: dict[str, Any] = {
    "site": "unknown",
    "host": "unknown.invalid",
    "cuts": "several",
    "broker": "?",
    "longest_interval_s": 1.0,
    "pushed": True,
    "page": "?",
    "url": "http://unknown.invalid/",
    "every_s": 1.0,
    "heaters": {},
    "off": ["/unknown"],
}
"""Harmless values for required keys that are missing or wrong, so that the rest of the file can still be judged."""

_TABLE_WITH_KIND = 2
_ROUNDS = 50


class Shape(Generic[T]):
    """Judges values against one model. The first one takes some twenty milliseconds to build."""

    def __init__(self, model: type[T]) -> None:
        self._adapter: TypeAdapter[T] = TypeAdapter(model)

    def check(self, file: str, values: dict[str, Any]) -> tuple[T | None, list[Draft]]:
        """The checked file, and what is wrong with it. With drafts, the value is mended and only fit for more judging."""
        try:
            return self._validate(values), []
        except ValidationError as error:
            problems = error.errors(include_url=False)
        drafts = [_draft(file, values, problem) for problem in problems]
        return self._mended(values, problems), drafts

    def _validate(self, values: dict[str, Any]) -> T:
        # As JSON: strict mode refuses a list where a tuple is meant, unless it reads JSON.
        return self._adapter.validate_json(to_json(_plain(values), inf_nan_mode="constants"))

    def _mended(self, values: dict[str, Any], problems: Sequence[ErrorDetails]) -> T | None:
        """The file without what is wrong in it, or None when nothing is left to judge."""
        rest = _plain(values)
        for _ in range(_ROUNDS):
            for problem in problems:
                _mend(rest, _path(problem), absent=problem["type"] == "missing")
            try:
                return self._validate(rest)
            except ValidationError as error:
                problems = error.errors(include_url=False)
        return None


def _plain(value: Any) -> Any:  # noqa: ANN401 - any TOML value
    """TOML values as JSON has them. A date must not pass for a text: it becomes what no key takes."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return [None] if isinstance(value, dt.date | dt.time) else value


def _path(problem: ErrorDetails) -> KeyPath:
    """Where in the file; pydantic puts the kind of a relay between its name and its keys."""
    path = problem["loc"]
    if path[:1] == ("relays",) and len(path) > _TABLE_WITH_KIND and not isinstance(path[1], int):
        return path[:2] + path[3:]
    return path


def _draft(file: str, values: dict[str, Any], problem: ErrorDetails) -> Draft:
    code = _CODES.get(problem["type"], "wrong-type")
    path = _path(problem)
    if problem["type"].startswith("union_tag"):
        path = (*path, "kind")
    found: Any = values
    for depth, part in enumerate(path):
        try:
            found = found[part]
        except (KeyError, IndexError, TypeError):
            if code != "missing-key":
                path = path[:depth]
            break
    if code == "unknown-word" and not isinstance(found, str):
        code = "wrong-type"
    return Draft(file, path, code, None if code == "missing-key" else found)


def _mend(values: dict[str, Any], path: KeyPath, *, absent: bool) -> None:
    """Take what is wrong out of `values`: the key itself, or the table that cannot be without it."""
    parent: Any = values
    for part in path[:-1]:
        if not _has(parent, part):
            return  # its table is out already
        parent = parent[part]
    last = path[-1]
    if isinstance(parent, dict) and last in _STAND_INS and parent.get(last) != _STAND_INS[str(last)]:
        parent[last] = _STAND_INS[str(last)]
    elif isinstance(parent, dict) and last == "topic" and not isinstance(parent.get(last), str):
        parent[last] = "?" + "/".join(map(str, path))
    elif absent and len(path) > 1:
        _mend(values, path[:-1], absent=False)
    elif _has(parent, last):
        del parent[last]


def _has(parent: Any, part: str | int) -> bool:  # noqa: ANN401 - any JSON value
    if isinstance(parent, dict):
        return part in parent
    return isinstance(parent, list) and isinstance(part, int) and part < len(parent)
