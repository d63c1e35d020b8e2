"""Small shared types and constants of the core."""

from typing import Any, TypeAlias

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"
JsonObject: TypeAlias = "dict[str, Json]"
Numbers: TypeAlias = dict[str, float]

INFINITY = float("inf")
"""A deadline that never falls due, or a time that has never been."""

NEVER = float("-inf")
"""The time of something that has not happened yet."""

STRICT: dict[str, Any] = {"strict": True, "extra": "forbid", "allow_inf_nan": False}
"""How a settings dataclass wants to be validated; a plain dict, so that the pure folders need no framework."""
