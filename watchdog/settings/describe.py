"""What is allowed at a place in a settings file, said in words. Only needed when something is wrong there."""

import types
from dataclasses import fields, is_dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from watchdog.settings.draft import KeyPath
from watchdog.settings.relay_tables import tables_by_kind

UNITS = {
    "_k_per_s": "kelvin a second",
    "_hours": "hours",
    "_mm": "millimetres",
    "_s": "seconds",
    "_c": "degrees Celsius",
    "_k": "kelvin",
    "_w": "watts",
    "_g": "grams",
}
"""By the ending of a key; the first that fits."""

_PLAIN = {str: "text in quotes", int: "a whole number", bool: "true or false"}


def unit_of(key: object) -> str:
    """The unit in which a number under this key counts, or nothing."""
    return next((unit for ending, unit in UNITS.items() if str(key).endswith(ending)), "")


def keys_at(root: type, values: Any, path: KeyPath) -> tuple[str, ...]:  # noqa: ANN401 - any TOML value
    """The keys that the table at `path` knows; empty when it takes names of the owner's choice."""
    model = _type_at(root, values, path)
    return tuple(entry.name for entry in fields(model) if entry.init) if is_dataclass(model) else ()


def words_at(root: type, values: Any, path: KeyPath) -> tuple[str, ...]:  # noqa: ANN401 - any TOML value
    """The words that may stand at `path`; empty when it is no choice."""
    found = _type_at(root, values, path)
    if get_origin(found) is Literal:
        return get_args(found)
    return tuple(_tables(_type_at(root, values, path[:-1], chosen=False))) if path[-1:] == ("kind",) else ()


def allowed_at(root: type, values: Any, path: KeyPath) -> str:  # noqa: ANN401 - any TOML value
    """What may stand at `path`, in words."""
    words = words_at(root, values, path)
    if words:
        return one_of(words)
    found = _type_at(root, values, path)
    if found in _PLAIN:
        return _PLAIN[found]
    if found is float:
        unit = unit_of(path[-1])
        return f"a number of {unit}" if unit else "a number"
    if get_origin(found) is tuple:
        inside = {str: "texts in quotes", float: "numbers"}[get_args(found)[0]]
        return f"a list of {inside} in square brackets"
    return "a table"


def one_of(words: tuple[str, ...]) -> str:
    """Words as a list for people."""
    quoted = [f'"{word}"' for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _type_at(root: type, values: Any, path: KeyPath, *, chosen: bool = True) -> Any:  # noqa: ANN401 - a type or a union of types
    """The type that belongs at `path`. Among tables with a `kind`, the one that `values` chose, if `chosen`."""
    found: Any = root
    for depth, part in enumerate(path):
        found = _inside(found, part)
        values = values.get(part) if isinstance(values, dict) else None
        if chosen or depth < len(path) - 1:
            found = _chosen(found, values)
    return found


def _inside(found: Any, part: str | int) -> Any:  # noqa: ANN401 - a type or a union of types
    if is_dataclass(found):
        # Optional and not: what may stand there is the same, since TOML has no word for nothing.
        return _without_none(get_type_hints(found, include_extras=True).get(str(part)))
    origin = get_origin(found)
    if origin is dict:
        return get_args(found)[1]
    return get_args(found)[0] if origin is tuple else None


def _without_none(found: Any) -> Any:  # noqa: ANN401 - a type or a union of types
    if get_origin(found) in {types.UnionType, Union}:
        return next(one for one in get_args(found) if one is not type(None))
    return found


def _tables(found: Any) -> dict[str, Any]:  # noqa: ANN401 - a type or a union of types
    return tables_by_kind(get_args(found)[0]) if get_origin(found) is Annotated else {}


def _chosen(found: Any, values: Any) -> Any:  # noqa: ANN401 - a type or a union of types
    kind = values.get("kind") if isinstance(values, dict) else None
    tables = _tables(found)
    return tables.get(kind, found) if isinstance(kind, str) else found
