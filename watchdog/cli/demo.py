"""`heatwarden demo`: the main job on a bench of pretend printers, with everything real in between."""

import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from rich.console import Console
from rich.live import Live

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError, ask_at
from watchdog.cli.output import complain, say, say_json
from watchdog.cli.show.broker import NoBrokerError, embedded_broker
from watchdog.cli.show.props import Bench
from watchdog.cli.show.settings import write_settings
from watchdog.cli.show.view import LiveView, PlainView, View
from watchdog.cli.trips import trip_line
from watchdog.core.values import JsonObject
from watchdog.guard import clock
from watchdog.simulation.script import scripted_site
from watchdog.wire.control import Request

SHOW_S = 45.0
"""The show ends by then, whatever happens."""

AFTER_S = 6.0
"""It goes on for so long after the last expected cut is proven."""

EXPECTED = {"anvil", "bramble"}
STARTS_WITHIN_S = 10.0


def run(*, as_json: bool, keep: Path | None) -> int:
    """Exit code 0 when exactly the two printers in danger were cut and the third went on."""
    console = Console(stderr=as_json)
    with ExitStack() as stack:
        folder = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="heatwarden-demo-")))
        try:
            port = stack.enter_context(embedded_broker())
        except NoBrokerError as error:
            complain(str(error))
            return exit_codes.BAD_INPUT
        benches = [Bench(printer, port, clock.now) for printer in scripted_site()]
        for bench in benches:
            console.print(f"  {bench.printer.name}: {bench.printer.story}")
        config, state = folder / "settings", folder / "state"
        write_settings(config, state, port, [bench.printer.name for bench in benches])
        stack.enter_context(_guard(config, folder / "guard.log"))
        for bench in benches:
            bench.begin()
            stack.callback(bench.end)
        try:
            _watch(state, stack.enter_context(_view(console)))
        except NoGuardError as error:
            complain(f"{error}\n{(folder / 'guard.log').read_text(encoding='utf-8')[-2000:]}")
            return exit_codes.NO_GUARD
        return _report(benches, state, as_json=as_json)


@contextmanager
def _guard(config: Path, log: Path) -> Iterator[None]:
    """A real guard process, as a service manager would run it."""
    command = [sys.executable, "-m", "watchdog.cli.main", "guard", "--config", str(config)]
    with log.open("wb") as output:
        process = subprocess.Popen(command, stdout=output, stderr=output, env=os.environ | {"STATE_DIRECTORY": ""})  # noqa: S603 - our own
        try:
            yield
        finally:
            process.terminate()
            process.wait(10.0)


@contextmanager
def _view(console: Console) -> Iterator[View]:
    if not console.is_terminal or "NO_COLOR" in os.environ:
        yield PlainView(console)
        return
    with Live(console=console, refresh_per_second=4, transient=False) as live:
        yield LiveView(live)


def _watch(state: Path, view: View) -> None:
    """Show what the guard reads, sees, cuts and confirms, until both dangers are over."""
    pause = threading.Event()
    began = clock.now()
    seen = 0
    done_at: float | None = None
    while (elapsed := clock.now() - began) < SHOW_S and (done_at is None or elapsed < done_at + AFTER_S):
        pause.wait(0.25)
        status = _status(state, elapsed)
        if status is None:
            continue
        view.status(status)
        seen = _new_events(state, seen, began, view)
        proven = {printer["name"] for printer in status["printers"] if printer["latch"] and printer["latch"]["verdict"] == "proven"}
        if proven >= EXPECTED and done_at is None:
            done_at = elapsed


def _status(state: Path, elapsed: float) -> JsonObject | None:
    try:
        reply = ask_at(state / "guard.sock", Request("status"))
    except NoGuardError:
        if elapsed > STARTS_WITHIN_S:
            raise
        return None
    status: JsonObject = reply["status"]
    return status


def _new_events(state: Path, seen: int, began: float, view: View) -> int:
    from watchdog.recorder.reader import Reader, RecordUnreadable

    try:
        events = Reader(state / "record.sqlite").events(after_id=seen)
    except RecordUnreadable:  # it is opened only after the guard is armed
        return seen
    for event in events:
        where = f"{event.printer}: " if event.printer else ""
        view.event(f"{event.at.engine_s - began:6.2f} s  {where}{event.kind}: {event.sentence}")
        seen = event.id
    return seen


def _report(benches: list[Bench], state: Path, *, as_json: bool) -> int:
    """The trips as they stand in the database, and what the plugs themselves saw."""
    from watchdog.recorder.reader import Reader

    trips = Reader(state / "record.sqlite").trips()
    cut = {bench.printer.name for bench in benches if not bench.powered}
    right = {trip.printer for trip in trips} == EXPECTED == cut and len(trips) == len(EXPECTED)
    if as_json:
        plugs = {bench.printer.name: {"open": not bench.powered, "hottest_bed_c": round(bench.hottest_c, 1)} for bench in benches}
        say_json({"as_expected": right, "plugs": plugs, "trips": [trip_line(trip) for trip in trips]})
        return exit_codes.OK if right else exit_codes.NOT_SO
    say()
    say("Trips read back from the record:")
    for trip in reversed(trips):
        say("  " + trip_line(trip))
    for bench in benches:
        plug = "open, the heat is off" if not bench.powered else "closed, still printing"
        say(f"  {bench.printer.name}: plug {plug}; hottest bed {bench.hottest_c:.1f} degC")
    say("As it should be." if right else "THIS IS NOT AS IT SHOULD BE.")
    return exit_codes.OK if right else exit_codes.NOT_SO
