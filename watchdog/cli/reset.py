"""`heatwarden reset`: release a latch, by a person, with a reason."""

from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask
from watchdog.cli.output import complain, person_or_user, say, say_json
from watchdog.wire.control import Request


def run(config: Path, state: Path | None, *, printer: str, person: str, reason: str, unread: bool, vouched: bool, as_json: bool) -> int:
    """Exit code 0 when released, 1 when refused, 69 without a guard."""
    try:
        reply = ask(config, state, Request("reset", printer, person_or_user(person), reason, unread, vouched))
    except NoGuardError as error:
        complain(str(error))
        return exit_codes.NO_GUARD
    if as_json:
        say_json(reply)
    elif not reply["ok"]:
        complain(f"reset refused: {reply['error']}")
    else:
        say(f"{printer} is released. Nothing was switched on: do that yourself, with the printer in sight.")
        if reply["probation"]:
            say("It is on probation: within 120 s of power coming back healthy readings must flow, or it trips again.")
    return exit_codes.OK if reply["ok"] else exit_codes.NOT_SO
