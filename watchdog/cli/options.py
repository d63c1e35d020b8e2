"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from watchdog.cli.main import CONFIG_VARIABLE

Config = Annotated[Path, typer.Option("--config", envvar=CONFIG_VARIABLE, help="The settings directory.", show_default=True)]
State = Annotated[Path | None, typer.Option("--state", help="The state directory; by default the one in the settings.")]
Json = Annotated[bool, typer.Option("--json", help="Answer in JSON, for programs.")]
