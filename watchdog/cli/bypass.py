"""`heatwarden bypass`: one check of a printer does not cut for a while, or is armed again before the time.

With `--json` one object: `{"ok": true, "check": NAME, "left_s": SECONDS, "replaced": null | {"person", "reason"}}`, with `--end`
`{"ok": true, "ended": [NAME], "still": [NAME]}`, or `{"ok": false, "error": SENTENCE}`.
"""

from dataclasses import replace
from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask
from watchdog.cli.output import complain, person_or_user, say, say_json
from watchdog.core.values import JsonObject
from watchdog.wire.control import Request


def run(config: Path, state: Path | None, request: Request, *, as_json: bool) -> int:
    """Exit code 0 when done, 1 when refused, 2 when the command line lacks something, 69 without a guard."""
    lacks = _lacks(request)
    if lacks:
        if as_json:
            say_json({"ok": False, "error": lacks})
        complain(lacks)
        return exit_codes.BAD_INPUT
    try:
        reply = ask(config, state, replace(request, person=person_or_user(request.person)))
    except NoGuardError as error:
        complain(f"{error}. Without a guard there is nothing to bypass, and no protection")
        return exit_codes.NO_GUARD
    if as_json:
        say_json(reply)
    elif not reply["ok"]:
        complain(f"refused: {reply['error']}")
    else:
        for line in _ended(request, reply) if request.ask == "end bypass" else _begun(request, reply):
            say(line)
    return exit_codes.OK if reply["ok"] else exit_codes.NOT_SO


def _lacks(request: Request) -> str:
    if request.ask == "end bypass":
        return "--end and --minutes do not go together: end it, or give it another time" if request.minutes else ""
    given = (("a CHECK", request.check), ("--minutes N", request.minutes), ("--reason TEXT", request.reason))
    missing = [what for what, value in given if not value]
    if not missing:
        return ""
    usage = "heatwarden bypass PRINTER CHECK --minutes N --reason TEXT, or heatwarden bypass PRINTER --end"
    return f"a bypass needs {', '.join(missing)}: {usage}"


def _begun(request: Request, reply: JsonObject) -> list[str]:
    lines = [f"{request.printer}: {reply['check']} does not cut for {reply['left_s'] / 60.0:g} min. Ceiling and out of range still do."]
    if reply["replaced"]:
        lines.append(f"This takes the place of the bypass by {reply['replaced']['person']}: {reply['replaced']['reason']}")
    return [*lines, "Stay with the printer. It is armed again by itself; sooner with --end."]


def _ended(request: Request, reply: JsonObject) -> list[str]:
    still = f"; still bypassed: {', '.join(reply['still'])}" if reply["still"] else ""
    return [f"{request.printer}: armed again: {', '.join(reply['ended'])}{still}"]
