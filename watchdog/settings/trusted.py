"""Values that were validated before become their dataclasses again, without the validator.

Loading the validator takes longer than all else that a guard does before it can judge its first reading.
"""

import types
from dataclasses import fields, is_dataclass
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin, get_type_hints

from watchdog.settings.relay_tables import tables_by_kind

T = TypeVar("T")


def construct(model: type[T], values: Any) -> T:  # noqa: ANN401 - any TOML or JSON value
    """`values` as `model`. Only for values that pydantic found good under this very model: nothing is checked.

    Raises KeyError, TypeError or ValueError where they cannot fit at all.
    """
    built: T = _built(model, values)
    return built


def _built(kind: Any, value: Any) -> Any:  # noqa: ANN401 - any type of a settings file, any value
    if is_dataclass(kind):
        hints = _hints(kind)
        known = {field.name for field in fields(kind) if field.init}
        if not known.issuperset(value):
            raise TypeError(f"{sorted(set(value) - known)} are no keys of {kind}")
        make: Any = kind
        return make(**{key: _built(hints[key], item) for key, item in value.items()})
    origin = get_origin(kind)
    if origin is dict:
        inner = get_args(kind)[1]
        return {key: _built(inner, item) for key, item in value.items()}
    if origin is tuple:
        inner = get_args(kind)[0]
        return tuple(_built(inner, item) for item in value)
    if origin is Annotated:
        return _built(tables_by_kind(get_args(kind)[0])[value["kind"]], value)
    if origin in {types.UnionType, Union} and value is not None:
        return _built(next(one for one in get_args(kind) if one is not type(None)), value)
    return float(value) if kind is float else value


_HINTS: dict[Any, dict[str, Any]] = {}


def _hints(kind: Any) -> dict[str, Any]:  # noqa: ANN401 - a dataclass
    if kind not in _HINTS:
        _HINTS[kind] = get_type_hints(kind, include_extras=True)
    return _HINTS[kind]
