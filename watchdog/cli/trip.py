"""`heatwarden trip`: cut by hand."""

from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask
from watchdog.cli.output import complain, person_or_user, say, say_json
from watchdog.core.values import JsonObject
from watchdog.wire.control import Request


def run(config: Path, state: Path | None, *, printer: str, person: str, reason: str, as_json: bool) -> int:
    """Exit code 0 when the command was given, 1 when it was refused, 69 without a guard."""
    try:
        reply = ask(config, state, Request("trip", printer, person_or_user(person), reason))
    except NoGuardError as error:
        complain(f"{error}. Cut the power by hand")
        return exit_codes.NO_GUARD
    if as_json:
        say_json(reply)
    elif not reply["ok"]:
        complain(reply["error"])
    else:
        for line in told(printer, reply):
            say(line)
    return exit_codes.OK if reply["ok"] else exit_codes.NOT_SO


def told(printer: str, reply: JsonObject) -> list[str]:
    """What was done, from the guard's reply to a person."""
    if reply["already"]:
        return [f"{printer} was already latched (trip {reply['trip']}); your word is on record, and OFF goes on being repeated"]
    first, *others = reply["relays"] or ["no relay"]
    follow = f" ({', '.join(others)} if that does not confirm)" if others else ""
    return [
        f"{printer}: OFF commanded through {first}{follow}; latched as trip {reply['trip']}",
        "See with your own eyes that it is off; `heatwarden status` tells what is confirmed.",
    ]
