"""From the bytes of a message to its four raw values, still unjudged."""

import re
from collections.abc import Callable
from typing import Any, Final, NamedTuple, TypeAlias

import jsonpointer
import orjson

from watchdog.core.values import Json
from watchdog.wire.feed import Feed, Fields
from watchdog.wire.plain_text import printable

LONGEST_TEXT_BYTES: Final = 4096
"""A line of text that holds a reading is short; this also bounds what a pattern may take."""

GROUPS: Final = ("temperature", "target", "duty", "power")


class Absent:
    """The type of ABSENT: the message does not mention the value at all, which is not the same as null."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "ABSENT"


ABSENT: Final = Absent()

Raw: TypeAlias = Any
"""A JSON value, or ABSENT."""

Split: TypeAlias = Callable[[bytes], tuple[Raw, Raw, Raw, Raw]]
"""Message to raw temperature, target, duty and power. Raises ValueError for what cannot be split."""


class FeedError(ValueError):
    """A feed that cannot work; the text says what was found and what is allowed."""


class NoMatchError(ValueError):
    """A line of text that its pattern does not describe."""


class Step(NamedTuple):
    """One step of a pointer: the key in an object, and the place in an array (-1: none)."""

    key: str
    place: int


_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")


def pointer_steps(pointer: str) -> tuple[Step, ...]:
    """The steps of a JSON Pointer (RFC 6901), parsed once. Raises FeedError."""
    try:
        parts = jsonpointer.JsonPointer(pointer).parts
    except jsonpointer.JsonPointerException as problem:
        raise FeedError(
            f'"{printable(pointer)}" is not a JSON Pointer ({problem}); write the path with a leading slash, such as /bed/actual'
        ) from problem
    return tuple(Step(part, int(part) if _INDEX.fullmatch(part) else -1) for part in parts)


def follow(message: Json, steps: tuple[Step, ...] | None) -> Raw:
    """What `steps` lead to in `message`, ABSENT if nothing; no steps (None) lead nowhere."""
    if steps is None:
        return ABSENT
    here: Raw = message
    for key, place in steps:
        if type(here) is dict:
            here = here.get(key, ABSENT)
        elif type(here) is list and 0 <= place < len(here):
            here = here[place]
        else:
            return ABSENT
    return here


def compile_split(feed: Feed) -> Split:
    """How messages of this feed are taken apart. Raises FeedError."""
    if feed.form == "text":
        return _text_split(feed.pattern)
    if feed.pattern:
        raise FeedError('a pattern serves only form = "text"; this feed has form = "json"')
    pointers = (feed.fields.temperature, feed.fields.target, feed.fields.duty, feed.fields.power)
    if all(pointer is None for pointer in pointers):
        raise FeedError("no field is mapped; give at least one of temperature, target, duty, power")
    steps = tuple(None if pointer is None else pointer_steps(pointer) for pointer in pointers)
    if all(path is None or len(path) == 1 for path in steps):
        keys = [None if not path else path[0].key for path in steps]
        return _flat_split(keys, steps, bare=feed.fields == Fields())
    return _deep_split(steps)


def _flat_split(keys: list[str | None], steps: tuple[tuple[Step, ...] | None, ...], *, bare: bool) -> Split:
    """For messages that are one flat object, the usual kind; `bare`: anything else is itself the temperature."""
    loads = orjson.loads
    temperature, target, duty, power = keys
    elsewhere = _deep_steps(steps)

    def split(payload: bytes) -> tuple[Raw, Raw, Raw, Raw]:
        message = loads(payload)
        if type(message) is dict:
            get = message.get
            return get(temperature, ABSENT), get(target, ABSENT), get(duty, ABSENT), get(power, ABSENT)
        if bare:
            return message, ABSENT, ABSENT, ABSENT
        return elsewhere(message)

    return split


def _deep_split(steps: tuple[tuple[Step, ...] | None, ...]) -> Split:
    loads = orjson.loads
    pick = _deep_steps(steps)
    return lambda payload: pick(loads(payload))


def _deep_steps(steps: tuple[tuple[Step, ...] | None, ...]) -> Callable[[Json], tuple[Raw, Raw, Raw, Raw]]:
    temperature, target, duty, power = steps

    def pick(message: Json) -> tuple[Raw, Raw, Raw, Raw]:
        return follow(message, temperature), follow(message, target), follow(message, duty), follow(message, power)

    return pick


def _text_split(pattern: str) -> Split:
    """For lines of text: the pattern must describe the whole line, its end left off; a group that is empty or takes no part is absent."""
    try:
        matches = re.compile(pattern, re.ASCII).fullmatch
    except re.error as problem:
        raise FeedError(f'pattern "{printable(pattern)}" is not a regular expression: {problem}') from problem
    named = set(re.compile(pattern, re.ASCII).groupindex)
    if not named or not named <= set(GROUPS):
        found = ", ".join(sorted(named)) or "none"
        raise FeedError(f"the pattern must name at least one group of {', '.join(GROUPS)}, as in (?P<temperature>.+); found: {found}")
    wanted = [name if name in named else None for name in GROUPS]

    def split(payload: bytes) -> tuple[Raw, Raw, Raw, Raw]:
        if len(payload) > LONGEST_TEXT_BYTES:
            raise NoMatchError
        found = matches(payload.decode("utf-8").rstrip("\r\n"))
        if found is None:
            raise NoMatchError
        temperature, target, duty, power = [(found[name] or ABSENT) if name else ABSENT for name in wanted]
        return temperature, target, duty, power

    return split
