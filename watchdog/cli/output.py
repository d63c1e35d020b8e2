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
    """One JSON object for a program."""
    sys.stdout.buffer.write(orjson.dumps(value, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE))
    sys.stdout.flush()


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
