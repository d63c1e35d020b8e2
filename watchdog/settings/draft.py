"""A problem as it is found: where, which one, and what was there. It gets its words and its line later, if at all."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

KeyPath: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Draft:
    """One problem, without words. `code` is its entry in the catalogue.

    `value` is what was found, `names` what would have been right (for "did you mean"), `said` fills the entry's text.
    Nothing in `said` may hold a secret; `value` may, and is judged when it is shown. `line` 0 means: look it up.
    """

    file: str
    path: KeyPath
    code: str
    value: Any = None
    names: tuple[str, ...] = ()
    said: Mapping[str, object] = field(default_factory=dict)
    line: int = 0
