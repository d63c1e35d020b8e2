"""Make the tables of the record, or bring them up to date: `python -m watchdog.recorder.migrate PATH`.

Runs in a process of its own, so that the guard never loads the migration library. `-` instead of a path reads a
database URL from standard input. Ends with 0 when the tables are up to date, with 1 and a sentence when not.
"""

import sqlite3
import sys
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.util.exc import CommandError
from sqlalchemy.engine import URL
from sqlalchemy.exc import SQLAlchemyError

from watchdog.recorder.database import url_of


def upgrade(url: URL) -> None:
    """Bring the tables up to date, in one transaction: a kill leaves them as they were."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    config.attributes["url"] = url
    command.upgrade(config, "head")


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m watchdog.recorder.migrate PATH\n")
        return 2
    try:
        upgrade(url_of(sys.stdin.read().strip() if arguments[0] == "-" else Path(arguments[0])))
    except (SQLAlchemyError, sqlite3.Error, CommandError, OSError, ValueError) as error:
        sys.stderr.write(f"{type(error).__name__}: {' '.join(str(error).split())}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
