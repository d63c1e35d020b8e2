"""`heatwarden token`: who may ask the guard through the front, and for what. The token itself is shown once and kept nowhere."""

import secrets
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from watchdog.cli import exit_codes
from watchdog.cli.output import complain, say, say_json
from watchdog.core.values import JsonObject
from watchdog.guard.clock import wall_us
from watchdog.guard.token_file import (
    MOST_TOKENS,
    Token,
    TokensUnusableError,
    hash_of,
    moment_text,
    name_problem,
    only_one,
    read_tokens,
    write_tokens,
)
from watchdog.settings.state_place import state_directory
from watchdog.wire.front import SCOPES

RANDOM_BYTES: Final = 32
DAY_S: Final = 86400.0


def make(
    config: Path, state: Path | None, *, name: str, scopes: Sequence[str], printers: Sequence[str], days: int | None, as_json: bool
) -> int:
    """Exit code 0 when made, 1 when the name is taken, 2 for a name, scope or printer that cannot be, 78 for a state directory."""
    problem = name_problem(name) or _scope_problem(scopes) or _printer_problem(config, printers)
    if problem:
        complain(problem)
        return exit_codes.BAD_INPUT
    made_s = wall_us() / 1e6
    secret = f"hw_{secrets.token_urlsafe(RANDOM_BYTES)}"
    until_s = None if days is None else made_s + days * DAY_S
    kept_scopes = tuple(scope for scope in SCOPES if scope in scopes)
    token = Token(name, kept_scopes, tuple(dict.fromkeys(printers)), until_s, hash_of(secret), moment_text(made_s))

    def add(tokens: tuple[Token, ...]) -> tuple[Token, ...] | str:
        if any(kept.name == name for kept in tokens):
            return f"there is a token '{name}' already: choose another name, or revoke that one first"
        if len(tokens) >= MOST_TOKENS:
            return f"there are {len(tokens)} tokens already, as many as there may be: revoke those that nobody needs"
        return (*tokens, token)

    code = _change(state_directory(config, state), add)
    if code == exit_codes.OK and as_json:
        say_json({"token": secret, **_told(token, made_s)})
    elif code == exit_codes.OK:
        say(secret)
        complain(f"this is the token '{name}', {_what(token)}. It is shown once and kept nowhere: keep it like a password")
    return code


def show(config: Path, state: Path | None, *, as_json: bool) -> int:
    """Exit code 0, 78 when the file of tokens cannot be read."""
    try:
        tokens = read_tokens(state_directory(config, state))
    except TokensUnusableError as error:
        complain(f"{error}: no token is good. Mend it or remove it, then make tokens anew")
        return exit_codes.BAD_SETTINGS
    at_s = wall_us() / 1e6
    if as_json:
        say_json({"tokens": [_told(token, at_s) for token in tokens]})
        return exit_codes.OK
    for token in tokens:
        say(f"{token.name}: {_what(token)}; made {token.made}, id {token.id}{'; OVER, not good any more' * token.over(at_s)}")
    if not tokens:
        say("There is no token. Make one with: heatwarden token make NAME --scope read")
    return exit_codes.OK


def revoke(config: Path, state: Path | None, *, name: str, as_json: bool) -> int:
    """Exit code 0 when it is good no more, 1 when there is none of that name, 78 for a state directory that cannot be used."""

    def remove(tokens: tuple[Token, ...]) -> tuple[Token, ...] | str:
        left = tuple(token for token in tokens if token.name != name)
        if len(left) == len(tokens):
            return f"there is no token '{name}'; there are: {', '.join(token.name for token in tokens) or 'none'}"
        return left

    code = _change(state_directory(config, state), remove)
    if code == exit_codes.OK and as_json:
        say_json({"revoked": name})
    elif code == exit_codes.OK:
        say(f"The token '{name}' is revoked. A running guard refuses it from now on.")
    return code


def _change(folder: Path, change: Callable[[tuple[Token, ...]], tuple[Token, ...] | str]) -> int:
    """Put in place what `change` makes of the tokens, unless it says why not."""
    try:
        with only_one(folder):
            changed = change(read_tokens(folder))
            if not isinstance(changed, str):
                write_tokens(folder, changed)
                return exit_codes.OK
    except TokensUnusableError as error:
        complain(f"{error}: nothing was changed. Mend it or remove it, then make tokens anew")
        return exit_codes.BAD_SETTINGS
    except OSError as error:
        complain(f"the state directory {folder} cannot be used: {error.strerror}. Run this as the guard's user, or as root")
        return exit_codes.BAD_SETTINGS
    complain(changed)
    return exit_codes.NOT_SO


def _scope_problem(scopes: Sequence[str]) -> str:
    strange = [scope for scope in scopes if scope not in SCOPES]
    if strange or not scopes:
        found = f"{strange[0]!r} is no scope" if strange else "a token needs a scope"
        return f"{found}; there are: {', '.join(SCOPES)}. Give --scope once for each"
    return ""


def _printer_problem(config: Path, printers: Sequence[str]) -> str:
    """A name that is in no settings is a slip of the pen; where the settings cannot be seen, any name will do."""
    try:
        known = sorted(path.stem for path in (config / "printers").iterdir() if path.suffix == ".toml")
    except OSError:
        return ""
    strange = [printer for printer in printers if printer not in known]
    return f"there is no printer {strange[0]!r} in {config}; there are: {', '.join(known) or 'none'}" if strange else ""


def _what(token: Token) -> str:
    where = f" of {', '.join(token.printers)}" if token.printers else ""
    until = "without an end" if token.until_s is None else f"until {moment_text(token.until_s)}"
    return f"for {', '.join(token.scopes)}{where}, {until}"


def _told(token: Token, at_s: float) -> JsonObject:
    return {
        "name": token.name,
        "id": token.id,
        "scopes": list(token.scopes),
        "printers": list(token.printers),
        "until": None if token.until_s is None else moment_text(token.until_s),
        "made": token.made,
        "over": token.over(at_s),
    }
