"""Small shared types and constants of the core."""

from typing import Any, TypeAlias

Json: TypeAlias = Any
"""A value that JSON can hold; its shape is checked where it comes in."""

JsonObject: TypeAlias = dict[str, Json]
Numbers: TypeAlias = dict[str, float]

INFINITY = float("inf")
"""A deadline that never falls due, or a time that has never been."""

NEVER = float("-inf")
"""The time of something that has not happened yet."""

STRICT: dict[str, Any] = {"strict": True, "extra": "forbid", "allow_inf_nan": False}
"""How a settings dataclass wants to be validated; a plain dict, so that the pure folders need no framework."""


def to_plain(value: Any) -> Json:  # noqa: ANN401 - any attribute of a state machine
    """A value as JSON can hold it: infinities become words, tuples become lists."""
    if value == INFINITY:
        return "never falls due"
    if value == NEVER:
        return "never was"
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise TypeError(f"{type(value).__name__} cannot be kept in a snapshot")


def from_plain(value: Any) -> Any:  # noqa: ANN401 - the way back of to_plain
    """The value back from `to_plain` (lists stay lists)."""
    if value == "never falls due":
        return INFINITY
    if value == "never was":
        return NEVER
    if isinstance(value, list):
        return [from_plain(item) for item in value]
    return value
