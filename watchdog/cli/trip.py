"""`heatwarden trip`: cut by hand."""

from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask
from watchdog.cli.output import complain, person_or_user, say, say_json
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
    elif reply["already"]:
        say(f"{printer} was already latched (trip {reply['trip']}); your word is on record, and OFF goes on being repeated")
    else:
        say(f"{printer}: OFF commanded through {', '.join(reply['relays']) or 'no relay'}; latched as trip {reply['trip']}")
        say("See with your own eyes that it is off; `heatwarden status` tells what is confirmed.")
    return exit_codes.OK if reply["ok"] else exit_codes.NOT_SO
