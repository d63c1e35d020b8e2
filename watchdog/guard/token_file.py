"""The file of tokens in the state directory: who may ask what through the front. It holds hashes; a token itself is shown once."""

import fcntl
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

import orjson

from watchdog.core.values import JsonObject
from watchdog.wire.front import SCOPES, Scope

NAME: Final = "tokens.json"
FORMAT: Final = 1
LONGEST_NAME: Final = 40
MOST_TOKENS: Final = 200
MOST_BYTES: Final = 1024 * 1024

WRITABLE_BY_OTHERS: Final = stat.S_IWGRP | stat.S_IWOTH
HASH_DIGITS: Final = 64


class TokensUnusableError(Exception):
    """The file cannot be read, or not be trusted; the text says why, without its full stop."""


class Token(NamedTuple):
    """What is kept of one token. `printers` empty: good for all. `until_s`: seconds since 1970; None: without an end."""

    name: str
    scopes: tuple[Scope, ...]
    printers: tuple[str, ...]
    until_s: float | None
    sha256: str
    made: str

    @property
    def id(self) -> str:
        """What tells it from others and can be shown."""
        return self.sha256[:8]

    def over(self, wall_s: float) -> bool:
        """Whether its end has come; `wall_s` are seconds since 1970."""
        return self.until_s is not None and wall_s >= self.until_s

    def sees(self, printer: str) -> bool:
        """Whether it is good for this printer."""
        return not self.printers or printer in self.printers


def hash_of(token: str) -> str:
    """64 hexadecimal digits. 256 random bits need no slow hash: there is nothing to guess."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def moment_text(at_s: float) -> str:
    """Seconds since 1970 as ISO 8601 in UTC."""
    return datetime.fromtimestamp(at_s, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def read_tokens(folder: Path) -> tuple[Token, ...]:
    """All tokens of a state directory; none when there is no file. Raises TokensUnusableError."""
    try:
        descriptor = os.open(folder / NAME, os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise TokensUnusableError(f"{NAME} cannot be read ({error.strerror})") from None
    with open(descriptor, "rb") as file:  # noqa: PTH123 - it is open already
        status = os.fstat(descriptor)
        if status.st_mode & WRITABLE_BY_OTHERS or status.st_uid not in {0, os.geteuid(), folder.stat().st_uid}:
            raise TokensUnusableError(f"{NAME} could have been written by others: give it to the guard's user, mode 0600")
        try:
            return _understood(file.read(MOST_BYTES + 1))
        except OSError as error:
            raise TokensUnusableError(f"{NAME} cannot be read ({error.strerror})") from None
        except (ValueError, TypeError, LookupError, AttributeError, OverflowError):  # whatever a disk or an editor can make of it
            raise TokensUnusableError(f"{NAME} is damaged") from None


@contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Nobody else changes the tokens meanwhile. Raises OSError when the directory cannot be used."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def write_tokens(folder: Path, tokens: tuple[Token, ...]) -> None:
    """Put these in the place of those that are kept, whole at every moment, and on the disk when it returns. Raises OSError.

    Root leaves a file that the guard's own user can read: it goes to whoever owns the directory.
    """
    new = folder / f"{NAME}.new"
    new.unlink(missing_ok=True)
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        with open(descriptor, "wb") as file:  # noqa: PTH123 - it is open already
            owner = folder.stat()
            if os.geteuid() == 0 and owner.st_uid != 0:
                os.fchown(descriptor, owner.st_uid, owner.st_gid)
            file.write(orjson.dumps({"format": FORMAT, "tokens": [_kept(token) for token in tokens]}, option=orjson.OPT_INDENT_2) + b"\n")
            file.flush()
            os.fsync(descriptor)
        new.replace(folder / NAME)
    except BaseException:
        new.unlink(missing_ok=True)
        raise
    directory = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


def name_problem(name: str) -> str:
    """What speaks against a name of a token; empty when nothing does. It stands in quotes on record."""
    if not name or name != name.strip() or len(name) > LONGEST_NAME or not name.isprintable() or "'" in name:
        return f"a token's name has 1 to {LONGEST_NAME} printable characters, no ' among them and no space at its ends"
    return ""


def _kept(token: Token) -> JsonObject:
    fields = token._asdict()
    until_s = fields.pop("until_s")
    return fields | {"until": None if until_s is None else moment_text(until_s)}


def _understood(raw: bytes) -> tuple[Token, ...]:
    """Raises ValueError, TypeError, LookupError, AttributeError or OverflowError for what is no such file."""
    found = orjson.loads(raw)
    if len(raw) > MOST_BYTES or found["format"] != FORMAT or not isinstance(found["tokens"], list):
        raise ValueError(NAME)
    tokens = tuple(_token(entry) for entry in found["tokens"])
    if len({token.name for token in tokens}) != len(tokens):
        raise ValueError(NAME)
    return tokens


def _token(entry: Any) -> Token:  # noqa: ANN401 - it judges whatever was read from a disk
    scopes = _texts(entry["scopes"])
    known = tuple(scope for scope in SCOPES if scope in scopes)
    sha256 = entry["sha256"]
    if name_problem(entry["name"]) or not known or len(known) != len(scopes) or len(sha256) != HASH_DIGITS:
        raise ValueError(NAME)
    bytes.fromhex(sha256)
    until = entry["until"]
    until_s = None if until is None else datetime.fromisoformat(until).astimezone(UTC).timestamp()
    return Token(entry["name"], known, _texts(entry["printers"]), until_s, sha256.lower(), str(entry["made"]))


def _texts(value: Any) -> tuple[str, ...]:  # noqa: ANN401 - it judges whatever was read from a disk
    if not isinstance(value, list) or not all(isinstance(text, str) for text in value):
        raise TypeError(NAME)
    return tuple(value)
