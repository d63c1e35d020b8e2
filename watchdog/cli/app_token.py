"""`heatwarden token` and its options. What it does is loaded when it runs."""

from typing import Annotated

import typer

from watchdog.cli.main import CONFIG_DEFAULT
from watchdog.cli.options import Config, Json, State

token_app = typer.Typer(no_args_is_help=True, help="Tokens for the front: who may ask the guard over the network, and for what.")

MOST_DAYS = 3650

Name = Annotated[str, typer.Argument(help="What it is for, such as 'bench tablet'; goes on record with each act.", show_default=False)]


@token_app.command()
def make(
    name: Name,
    scope: Annotated[list[str], typer.Option("--scope", help="read, report, trip or reset; once for each. None includes another.")],
    printer: Annotated[list[str] | None, typer.Option("--printer", help="Good for this printer alone; may be repeated.")] = None,
    days: Annotated[int | None, typer.Option("--days", min=1, max=MOST_DAYS, help="Good for so many days; by default without end.")] = None,
    config: Config = CONFIG_DEFAULT,
    state: State = None,
    as_json: Json = False,
) -> None:
    """Make a token and show it, once."""
    from watchdog.cli.token import make

    raise typer.Exit(make(config, state, name=name, scopes=scope, printers=printer or [], days=days, as_json=as_json))


@token_app.command("list")
def show(config: Config = CONFIG_DEFAULT, state: State = None, as_json: Json = False) -> None:
    """List the tokens: what each is good for, and until when."""
    from watchdog.cli.token import show

    raise typer.Exit(show(config, state, as_json=as_json))


@token_app.command()
def revoke(name: Name, config: Config = CONFIG_DEFAULT, state: State = None, as_json: Json = False) -> None:
    """Make a token good for nothing, at once."""
    from watchdog.cli.token import revoke

    raise typer.Exit(revoke(config, state, name=name, as_json=as_json))
