"""Series of values in shorthand, as the scenario files write them.

`60x10` ten times 60; `60+0.5x100` a hundred values from 60 on, 0.5 more each; `100~22/1800x600` six hundred values that
cool from 100 towards 22 with a time constant of 1800 values; `_x20` twenty times nothing; `off` is 0, `?` is unknown;
`(60 180)x20` the group twenty times over.
"""

import re
from math import exp
from typing import Final, Literal, TypeAlias

UNKNOWN: Final = "?"
Value: TypeAlias = float | Literal["?"] | None

_TOKENS = re.compile(r"\((?P<group>[^()]*)\)x(?P<times>\d+)|(?P<single>[^\s()]+)")
_SINGLE = re.compile(
    r"(?P<start>-?\d+(?:\.\d+)?|off|\?|_)"
    r"(?:(?P<step>[+-]\d+(?:\.\d+)?)|~(?P<towards>-?\d+(?:\.\d+)?)/(?P<tau>\d+(?:\.\d+)?))?"
    r"(?:x(?P<count>\d+))?"
)


def series(text: str) -> list[Value]:
    """The values that `text` stands for; ValueError for anything else."""
    values: list[Value] = []
    rest = _TOKENS.sub("", text).strip()
    if rest:
        raise ValueError(f"{rest!r} is no series")
    for token in _TOKENS.finditer(text):
        if token["group"] is not None:
            values += series(token["group"]) * int(token["times"])
        else:
            values += _run(token["single"])
    return values


def _run(text: str) -> list[Value]:
    match = _SINGLE.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is no series")
    count = int(match["count"] or 1)
    words: dict[str, Value] = {"off": 0.0, "?": UNKNOWN, "_": None}
    if match["start"] in words:
        if match["step"] or match["tau"]:
            raise ValueError(f"{text!r}: only a number can change")
        return [words[match["start"]]] * count
    start = float(match["start"])
    if match["tau"]:
        end, tau = float(match["towards"]), float(match["tau"])
        return [end + (start - end) * exp(-place / tau) for place in range(count)]
    return [round(start + float(match["step"] or 0) * place, 9) for place in range(count)]
