"""Whether each relay can be commanded as described, and proves its state by something of its own."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from watchdog.settings.draft import Draft, KeyPath
from watchdog.settings.model import MAIN_FILE
from watchdog.settings.relay_tables import CommandRelayTable, HttpRelayTable, MqttRelayTable
from watchdog.settings.rules_http_relays import http_relay
from watchdog.settings.sheet import Sheet
from watchdog.settings.topics import bad_topic, pointer_problem


def relays(sheet: Sheet) -> Iterator[Draft]:
    """All that can be wrong with `[relays]`, each of them by itself."""
    if sheet.main is None:
        return
    for name, relay in sheet.main.relays.items():
        path: KeyPath = ("relays", name)
        if isinstance(relay, MqttRelayTable):
            yield from _mqtt(path, relay, sheet)
        elif isinstance(relay, CommandRelayTable):
            yield from _command(path, relay, sheet)
        elif isinstance(relay, HttpRelayTable):
            yield from http_relay(path, relay, outside=sheet.outside)
        elif relay.file and not relay.file.startswith("/"):
            yield Draft(MAIN_FILE, (*path, "file"), "not-absolute", relay.file)
    if sheet.main.allow_commands and sheet.outside:
        yield from _trusted(sheet.directory / MAIN_FILE)


def _mqtt(path: KeyPath, relay: MqttRelayTable, sheet: Sheet) -> Iterator[Draft]:
    if relay.broker not in sheet.broker_names:
        yield Draft(MAIN_FILE, (*path, "broker"), "unknown-broker", relay.broker, names=sheet.broker_names)
    for key in ("order", "echo", "meter", "presence"):
        table = getattr(relay, key)
        if table:
            yield from bad_topic(MAIN_FILE, (*path, key, "topic"), table.topic)
            yield from pointer_problem(MAIN_FILE, (*path, key, "pointer"), getattr(table, "pointer", ""))
    if not relay.order.off:
        yield Draft(MAIN_FILE, (*path, "order", "off"), "order-empty")
    if relay.echo and relay.echo.off == relay.echo.on:
        yield Draft(MAIN_FILE, (*path, "echo", "on"), "same-words", relay.echo.on, said={"words": "off and on"})
    if relay.presence and relay.presence.here == relay.presence.gone:
        yield Draft(MAIN_FILE, (*path, "presence", "gone"), "same-words", relay.presence.gone, said={"words": "here and gone"})


def _command(path: KeyPath, relay: CommandRelayTable, sheet: Sheet) -> Iterator[Draft]:
    if sheet.main and not sheet.main.allow_commands:
        yield Draft(MAIN_FILE, (*path, "kind"), "commands-not-allowed")
    if not relay.off:
        yield Draft(MAIN_FILE, (*path, "off"), "command-empty")
    for key in ("off", "ask"):
        arguments: tuple[str, ...] = getattr(relay, key)
        if any("\0" in argument for argument in arguments):
            yield Draft(MAIN_FILE, (*path, key), "command-nul")
        elif arguments:
            yield from _program((*path, key, 0), arguments[0], outside=sheet.outside)


def _program(path: KeyPath, program: str, *, outside: bool) -> Iterator[Draft]:
    if not program.startswith("/"):
        # Only its first word: the rest of a whole command line may hold a secret.
        yield Draft(MAIN_FILE, path, "program-relative", program.split(" ", 1)[0])
    elif outside and not Path(program).is_file():
        yield Draft(MAIN_FILE, path, "program-missing", program.split(" ", 1)[0])
    elif outside and not os.access(program, os.X_OK):
        yield Draft(MAIN_FILE, path, "program-not-executable", program)


def _trusted(file: Path) -> Iterator[Draft]:
    """Who can write the main file can run programs as the guard."""
    status = file.stat()
    if status.st_uid not in {0, os.geteuid()} or status.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        said = {"owner": status.st_uid, "mode": f"{stat.S_IMODE(status.st_mode):04o}"}
        yield Draft(MAIN_FILE, ("allow_commands",), "main-file-writable", said=said)
