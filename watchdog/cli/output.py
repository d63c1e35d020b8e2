"""Where answers go: plain lines or JSON to standard output, complaints to standard error."""

import getpass
import sys

import orjson

from watchdog.core.values import JsonObject
from watchdog.wire.plain_text import printable


def say(line: str = "") -> None:
    """One line for a person; control characters in names and texts cannot reach the terminal."""
    sys.stdout.write(printable(line, 2000) + "\n")


def say_json(value: JsonObject) -> None:
    """One JSON object for a program. A person may see it too: what a terminal could obey is escaped, which JSON allows."""
    text = orjson.dumps(value, option=orjson.OPT_INDENT_2).decode()
    safe = text if text.isascii() else "".join(character if _harmless(character) else _escaped(character) for character in text)
    sys.stdout.buffer.write(safe.encode() + b"\n")
    sys.stdout.flush()


def _harmless(character: str) -> bool:
    return character == "\n" or character.isprintable()


def _escaped(character: str) -> str:
    """As JSON writes it: one or two UTF-16 units of four hexadecimal digits."""
    units = character.encode("utf-16-be").hex()
    return "".join(f"\\u{units[place : place + 4]}" for place in range(0, len(units), 4))


def complain(line: str) -> None:
    """One line to standard error."""
    sys.stderr.write(f"heatwarden: {printable(line, 2000)}\n")


def person_or_user(person: str) -> str:
    """The person named, or the user who runs this."""
    if person:
        return person
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
