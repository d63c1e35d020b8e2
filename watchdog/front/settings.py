"""Reads the `[front]` table and nothing else: whatever is wrong with the rest of the settings, people must be able to see it."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from watchdog.settings.draft import Draft
from watchdog.settings.model import MAIN_FILE, Front
from watchdog.settings.problem import Problem, problems
from watchdog.settings.read import read_all
from watchdog.settings.rules_front import front_table
from watchdog.settings.shape import Shape
from watchdog.settings.validated_copy import load_last

_KEY = "front"


def front_settings(config: Path, state: Path) -> tuple[Front | None, tuple[Problem, ...]]:
    """The table, and what is wrong with it. With problems, it is the one of the last settings that ran; None without those."""
    files = read_all(config)
    drafts = [draft for draft in files.drafts if draft.file in ("", MAIN_FILE) and MAIN_FILE not in files.values]
    table: Front | None = None
    if MAIN_FILE in files.values:
        table, drafts = _table(files.values[MAIN_FILE].get(_KEY, {}))
    if table is not None and not drafts:
        return table, ()
    last = load_last(state).settings
    return None if last is None else last.main.front, problems(drafts, files)


def _table(values: Any) -> tuple[Front | None, list[Draft]]:  # noqa: ANN401 - any TOML value
    if not isinstance(values, dict):
        return None, [Draft(MAIN_FILE, (_KEY,), "wrong-type", values)]
    table, drafts = Shape(Front).check(MAIN_FILE, values)
    drafts = [replace(draft, path=(_KEY, *draft.path)) for draft in drafts]
    if table is not None and not drafts:
        drafts = list(front_table(table, outside=True))
    return table, drafts
