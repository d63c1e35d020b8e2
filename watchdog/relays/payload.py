"""What a plug's messages say. Strict: a message that does not say it clearly says nothing."""

import math
from typing import Any, Final

import orjson
from jsonpointer import JsonPointer, JsonPointerException

MOST_BYTES: Final = 65536
"""A longer message is no plug talking; it is not even parsed."""

SHOWN: Final = 40


def shown(payload: bytes) -> str:
    """The beginning of a payload, safe to print: no control characters, no tricks with text direction."""
    text = payload[: SHOWN * 4].decode("utf-8", "replace")
    return ascii(text if len(text) <= SHOWN else text[:SHOWN] + "...")


def resolver(pointer: str) -> JsonPointer | None:
    """A JSON Pointer made ready once; None for an empty one, which means the whole payload. Raises ValueError."""
    if not pointer:
        return None
    try:
        return JsonPointer(pointer)
    except JsonPointerException as error:
        raise ValueError(f"{pointer!r} is no JSON Pointer ({error}); write it like /state or /power/now") from error


def text_of(payload: bytes, pointer: JsonPointer | None) -> str | None:
    """The word in a payload, stripped; of JSON also `true`, `false` and whole numbers, as JSON writes them. None if there is none."""
    if len(payload) > MOST_BYTES:
        return None
    if pointer is None:
        try:
            return payload.decode("utf-8").strip()
        except UnicodeDecodeError:
            return None
    value = _pick(payload, pointer)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return value.strip() if isinstance(value, str) else None


def watts_of(payload: bytes, pointer: JsonPointer | None, standby_w: float) -> float | None:
    """The power in a payload in watts, or None if it holds no believable one.

    Less than minus the standby power is a meter that is wired the wrong way round: it would prove a hot heater off.
    """
    if len(payload) > MOST_BYTES:
        return None
    value = _pick(payload, pointer)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    watts = float(value)
    return watts if math.isfinite(watts) and watts >= -standby_w else None


def _pick(payload: bytes, pointer: JsonPointer | None) -> Any:  # noqa: ANN401 - any JSON value
    try:
        document = orjson.loads(payload)
        return document if pointer is None else pointer.resolve(document)
    except (orjson.JSONDecodeError, JsonPointerException, TypeError, ValueError):
        return None
