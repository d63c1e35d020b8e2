"""The file of what observing has used and bypasses have left: its form, and what is made of one that is missing or damaged."""

import zlib
from collections.abc import Callable
from math import isfinite
from pathlib import Path
from typing import Any, NamedTuple

import orjson

from watchdog.core.bypassing import LONGEST_LONG_S
from watchdog.core.observing import ALWAYS_ARMED
from watchdog.core.remaining import Left, Remaining
from watchdog.core.values import NEVER, JsonObject

NAME = "remainders.json"
FORMAT = 1

LOST = "hours that a printer or a check may have observed count as used, and bypasses as ended"


class Stamp(NamedTuple):
    """When it was written: which boot, seconds since then with all sleep, and wall time in microseconds."""

    boot_id: str
    boot_s: float
    wall_us: int


def as_file(told: JsonObject) -> bytes:
    """The whole file: what is told, and a sum over it."""
    body = {"format": FORMAT, **told}
    return orjson.dumps({"kept": body, "sum": _sum(body)}, option=orjson.OPT_INDENT_2) + b"\n"


def read_file(folder: Path, stamp: Stamp, now: float, *, used_before: bool) -> Remaining:
    """What a former guard left in `folder`. `stamp` and engine time `now` are those of this moment. Never raises."""
    try:
        raw = (folder / NAME).read_bytes()
    except FileNotFoundError:
        return Remaining(None, why=f"{NAME} is missing: {LOST}") if used_before else Remaining()
    except OSError as error:
        return Remaining(None, why=f"{NAME} cannot be read ({error.strerror}): {LOST}")
    try:
        return _understood(raw, stamp, now)
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError):  # whatever a disk can make of it
        return Remaining(None, why=f"{NAME} is damaged: {LOST}")


def _understood(raw: bytes, stamp: Stamp, now: float) -> Remaining:
    """Raises ValueError, TypeError, LookupError, AttributeError or OverflowError for what is no such file."""
    found = orjson.loads(raw)
    body = found["kept"]
    if found["sum"] != _sum(body) or body["format"] != FORMAT:
        raise ValueError(NAME)
    used_s = {(_text(key[0]), _text(key[1]), _text(key[2])): _number(key[3], lambda value: value >= 0.0) for key in body["used_s"]}
    elapsed_s = _elapsed_s(body["stamp"], stamp)
    return Remaining(used_s, tuple(_left(entry, elapsed_s, now) for entry in body["bypasses"]))


def _left(entry: Any, elapsed_s: float | None, now: float) -> Left:  # noqa: ANN401 - it judges whatever was read from a disk
    printer, check, person, reason = (_text(value) for value in entry[:4])
    left_s = _number(entry[4], lambda value: value <= LONGEST_LONG_S + 1.0)
    if check in ALWAYS_ARMED:
        raise ValueError(check)
    return Left(printer, check, person, reason, NEVER if elapsed_s is None else now + left_s - elapsed_s)


def _elapsed_s(then: JsonObject, now: Stamp) -> float | None:
    """How much time has passed at the most; None when nobody can say: after another boot, wall time proves nothing."""
    boot_s, wall_us = _number(then["boot_s"], isfinite), _number(then["wall_us"], isfinite)
    if not now.boot_id or then["boot_id"] != now.boot_id or now.boot_s < boot_s:
        return None
    return max(now.boot_s - boot_s, (now.wall_us - wall_us) / 1e6)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(NAME)
    return value


def _number(value: object, good: Callable[[float], bool]) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not good(value):
        raise ValueError(NAME)
    return float(value)


def _sum(body: JsonObject) -> int:
    return zlib.crc32(orjson.dumps(body, option=orjson.OPT_SORT_KEYS))
