"""heatwarden: commands and their options. What a command does is loaded when it runs."""

from pathlib import Path
from typing import Annotated

import typer

from watchdog.cli.app_token import token_app
from watchdog.cli.main import CONFIG_DEFAULT, SHORTEST_STUCK_S, STUCK_OPTION
from watchdog.cli.options import Config, Json, State
from watchdog.wire.control import Request

app = typer.Typer(
    name="heatwarden",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="A second, independent layer of protection for heated 3D printers. Not a certified safety device.",
    epilog="Exit codes: 0 yes, 1 no (not protected, tripped, refused), 2 bad input, 69 no guard to be reached, 78 bad settings.",
)

Person = Annotated[str, typer.Option("--by", help="Who asks for it; goes on record.", show_default="the user's name")]
Reason = Annotated[str, typer.Option("--reason", help="Why; goes on record.")]

app.add_typer(token_app, name="token")


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"heatwarden {version('heatwarden')}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which version this is.")] = False,
) -> None:
    """A second, independent layer of protection for heated 3D printers. Not a certified safety device."""


@app.command()
def guard(
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    end_when_stuck: Annotated[
        int,
        typer.Option(
            STUCK_OPTION, help=f"End with 75 after the loop stood still for so many seconds, {SHORTEST_STUCK_S} or more; 0: never."
        ),
    ] = 0,
) -> None:
    """Watch the printers and cut their power when a check says danger. Runs until it is told to stop."""
    from watchdog.cli.guard import run

    if end_when_stuck and end_when_stuck < SHORTEST_STUCK_S:
        raise typer.BadParameter(f"{end_when_stuck} seconds: 0 or at least {SHORTEST_STUCK_S} are allowed", param_hint=STUCK_OPTION)
    raise typer.Exit(run(config, state, float(end_when_stuck)))


@app.command()
def run(config: Config = CONFIG_DEFAULT, state: State = None) -> None:
    """Run guard and front together, in a terminal or a container, and start again whichever ends."""
    from watchdog.cli.run import run

    raise typer.Exit(run(config, state))


@app.command()
def front(config: Config = CONFIG_DEFAULT, state: State = None) -> None:
    """Serve the API to programs and people with tokens. The guard does not need it. Runs until it is told to stop."""
    from watchdog.cli.front import run

    raise typer.Exit(run(config, state))


@app.command()
def examples(directory: Annotated[Path, typer.Argument(help="Where to; nothing that stands there is overwritten.")]) -> None:
    """Write out the commented example settings, to begin with."""
    from watchdog.cli.examples import run

    raise typer.Exit(run(directory))


@app.command()
def demo(
    as_json: Json = False,
    keep: Annotated[Path | None, typer.Option("--keep", help="Keep settings, log and record in this directory.")] = None,
    stay: Annotated[bool, typer.Option("--stay", help="Go on afterwards, until Ctrl-C.")] = False,
    seed: Annotated[int, typer.Option("--seed", help="Another seed draws slightly other heaters and other noise.")] = 1,
) -> None:
    """Watch three simulated printers over a real broker for less than a minute: no hardware, nothing to set up."""
    from watchdog.cli.demo import run

    raise typer.Exit(run(as_json=as_json, keep=keep, stay=stay, seed=seed))


@app.command()
def check(
    config: Config = CONFIG_DEFAULT,
    as_json: Json = False,
    limits: Annotated[bool, typer.Option("--limits", help="Show every limit, also what is usual for the class of heater.")] = False,
) -> None:
    """Check the settings: every problem at once, or what is protected by what, and what is not."""
    from watchdog.cli.check import run

    raise typer.Exit(run(config, as_json, limits))


@app.command()
def limits(
    printer: Annotated[str, typer.Argument(help="Its name.")],
    config: Config = CONFIG_DEFAULT,
    as_json: Json = False,
) -> None:
    """Explain every limit of a printer: its value, where it comes from and why, and what physics expect of its heaters."""
    from watchdog.cli.limits import run

    raise typer.Exit(run(config, printer, as_json=as_json))


@app.command()
def status(
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    as_json: Json = False,
    idle: Annotated[bool, typer.Option("--idle", help="Say only whether nothing heats: exit code 0 when nothing does.")] = False,
) -> None:
    """Say whether the printers are protected, and if not why. Exit code 0 only when all are."""
    from watchdog.cli.status import run

    raise typer.Exit(run(config, state, as_json=as_json, idle=idle))


@app.command()
def trips(
    trip: Annotated[str, typer.Argument(help="Number or name of one trip, to see all that happened.")] = "",
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    printer: Annotated[str, typer.Option("--printer", help="Only this printer.")] = "",
    last: Annotated[int, typer.Option("--last", min=1, max=1000, help="How many.")] = 20,
    as_json: Json = False,
) -> None:
    """List the trips on record, newest first, or tell one of them step by step."""
    from watchdog.cli.trips import run

    raise typer.Exit(run(config, state, trip=trip, printer=printer, last=last, as_json=as_json))


@app.command()
def trip(
    printer: str, reason: Reason, by: Person = "", config: Config = CONFIG_DEFAULT, state: State = None, as_json: Json = False
) -> None:
    """Cut the power of a printer by hand. It stays latched until it is reset."""
    from watchdog.cli.trip import run

    raise typer.Exit(run(config, state, printer=printer, person=by, reason=reason, as_json=as_json))


@app.command()
def reset(
    printer: str,
    reason: Reason,
    by: Person = "",
    unread: Annotated[bool, typer.Option("--unread", help="Nothing can be read before power returns; probation follows.")] = False,
    vouched: Annotated[bool, typer.Option("--vouched", help="You have seen with your own eyes that the power is off.")] = False,
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    as_json: Json = False,
) -> None:
    """Release a latched printer. Switches nothing on: that is for you to do, with the printer in sight."""
    from watchdog.cli.reset import run

    raise typer.Exit(run(config, state, printer=printer, person=by, reason=reason, unread=unread, vouched=vouched, as_json=as_json))


@app.command()
def bypass(
    printer: str,
    check: Annotated[str, typer.Argument(help="One check, on all heaters of the printer; never ceiling or out of range.")] = "",
    minutes: Annotated[float, typer.Option("--minutes", help="For so long: up to 60, with --long up to 480.")] = 0.0,
    reason: Annotated[str, typer.Option("--reason", help="Why; goes on record.")] = "",
    by: Person = "",
    long: Annotated[bool, typer.Option("--long", help="More than 60 minutes are meant.")] = False,
    end: Annotated[bool, typer.Option("--end", help="End it now; without a check, all bypasses of the printer.")] = False,
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    as_json: Json = False,
) -> None:
    """Let one check of a printer not cut for a while, or end that. It is armed again by itself, also after a restart."""
    from watchdog.cli.bypass import run

    asked = Request("end bypass" if end else "bypass", printer, by, reason, check=check, minutes=minutes, long=long)
    raise typer.Exit(run(config, state, asked, as_json=as_json))


@app.command()
def replay(
    logs: Annotated[list[Path], typer.Argument(help="CSV or JSON Lines, plain or .gz.")],
    config: Config = CONFIG_DEFAULT,
    as_json: Json = False,
) -> None:
    """Feed recorded logs to the very engine that guards live. Exit code 0 when nothing trips, 1 when something does."""
    from watchdog.cli.replay import run

    raise typer.Exit(run(config, logs, as_json=as_json))


@app.command()
def learn(
    printer: Annotated[str, typer.Argument(help="The printer whose recordings these are.")],
    logs: Annotated[list[Path], typer.Argument(help="Recordings of healthy work: CSV or JSON Lines, plain or .gz.")],
    config: Config = CONFIG_DEFAULT,
    as_json: Json = False,
) -> None:
    """Learn tighter limits from recordings of healthy work, and show them as text for the printer's file."""
    from watchdog.cli.learn import run

    raise typer.Exit(run(config, printer, logs, as_json=as_json))
