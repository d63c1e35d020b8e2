"""`heatwarden demo`: the main job on three simulated printers, with everything real in between."""

import threading
from contextlib import ExitStack
from pathlib import Path

from rich.console import Console

from watchdog.cli import exit_codes
from watchdog.cli.client import NoGuardError
from watchdog.cli.output import complain
from watchdog.cli.show import ending, pace
from watchdog.cli.show.broker import NoBrokerError, embedded_broker
from watchdog.cli.show.printers import cast
from watchdog.cli.show.props import Bench
from watchdog.cli.show.settings import write_settings
from watchdog.cli.show.stage import LOOK_EVERY_S, GuardProcess, NotStagedError, folder_of, stopped_by_signals
from watchdog.cli.show.telling import happened, in_order, told
from watchdog.cli.show.view import View, tell_part, view_on
from watchdog.recorder.reader import RecordUnreadable

ABOUT_S = 40
"""How long it takes, in seconds of the wall."""

AFTER_S = 80.0
"""It goes on for so long after the last expected cut is settled, in seconds of the workshop."""

LATEST_S = 600.0
"""It ends by then, whatever happened."""

HEADER = f"""\
For about {ABOUT_S} seconds you watch three 3D printers. Two of them become dangerous; heatwarden must see it and cut their power.

The workshop runs {pace.TIMES_FASTER:.0f} TIMES FASTER than the clock on your wall, the printers and the guard alike, \
because a bed takes minutes to heat. All times and seconds from here on are the workshop's.

Real: the guard process, MQTT through a broker on loopback, the latch, the database. \
Simulated: the printers, their heat and their plugs.
"""
STOPPED = "Stopped before the end; everything is switched off."


def run(*, as_json: bool, keep: Path | None, stay: bool, seed: int) -> int:
    """Exit code 0 when exactly the two printers in danger were cut, before harm, and the third went on; 1 when not, or broken off."""
    console = Console(stderr=as_json, highlight=False)
    with ExitStack() as stack:
        try:
            stop = stack.enter_context(stopped_by_signals())
            show = Show(console, stack.enter_context(folder_of(keep)), stop, seed)
            return show.play(as_json=as_json, stay=stay)
        except (NoBrokerError, NotStagedError) as error:
            complain(str(error))
            return exit_codes.BAD_INPUT


class Show:
    """One performance."""

    def __init__(self, console: Console, folder: Path, stop: threading.Event, seed: int) -> None:
        self._console, self._stop, self._seed = console, stop, seed
        self._parts = cast(seed)
        self._guard = GuardProcess(folder / "settings", folder / "state", folder / "guard.log")
        self._benches: list[Bench] = []
        self._began = self._told_s = 0.0
        self._told_id = 0
        self._states: dict[str, str] = {}

    def play(self, *, as_json: bool, stay: bool) -> int:
        """From the header to the end; the exit code. Raises NoBrokerError."""
        self._console.print(HEADER)
        for part in self._parts:
            tell_part(self._console, part)
        self._console.print()
        with ExitStack() as stack:
            self._set_up(stack)
            try:
                return self._all_of_it(as_json=as_json, stay=stay)
            except (NoGuardError, RecordUnreadable) as error:
                if self._stop.is_set():  # Ctrl-C reaches the guard too
                    self._console.print(STOPPED)
                    return exit_codes.NOT_SO
                complain(f"{error}. The last words of its log:")
                for line in self._guard.last_words():
                    complain(line)
                return exit_codes.NO_GUARD

    def _all_of_it(self, *, as_json: bool, stay: bool) -> int:
        if not self._guard.ready(self._stop) or not self._perform():
            self._console.print(STOPPED)
            return exit_codes.NOT_SO
        code = self._close(as_json=as_json)
        if stay:
            self._go_on()
        return code

    def _set_up(self, stack: ExitStack) -> None:
        port = stack.enter_context(embedded_broker())
        write_settings(self._guard.config, self._guard.state, port, self._parts)
        stack.enter_context(self._guard.running())
        for part in self._parts:
            bench = Bench(part, self._seed, port, pace.now)
            self._benches.append(bench)
            stack.callback(bench.end)

    def _perform(self) -> bool:
        """The story, until both dangers are over; False when told to stop before."""
        self._began = pace.now()
        for bench in self._benches:
            bench.begin(self._began)
        danger = {part.name for part in self._parts if part.danger}
        over_s = LATEST_S
        with view_on(self._console) as view:
            while not self._stop.wait(LOOK_EVERY_S):
                at_s = self._look(view)
                settled = {trip.printer for trip in self._guard.trips() if trip.outcome in ending.SETTLED} if self._told_id else set()
                if over_s == LATEST_S and settled >= danger:
                    over_s = min(LATEST_S, at_s + AFTER_S)
                if at_s >= over_s:
                    return True
        return False

    def _look(self, view: View) -> float:
        """Show what is new, and how things stand; the workshop's time."""
        at_s = pace.now() - self._began
        status = self._guard.status()
        self._states = {printer["name"]: printer["state"] for printer in status["printers"]}
        events = self._guard.events(self._told_id)
        self._told_id = events[-1].id if events else self._told_id
        for line in in_order([*happened(self._parts, self._told_s, at_s), *told(events, self._began)]):
            view.line(line)
        self._told_s = at_s
        view.status(status, self._benches, at_s)
        return at_s

    def _close(self, *, as_json: bool) -> int:
        fates = [ending.fate(bench) for bench in self._benches]
        trips = self._guard.trips()
        right = ending.as_expected(self._benches, fates, trips, self._states)
        if as_json:
            ending.tell_json(fates, trips, self._began, seed=self._seed, right=right)
        else:
            ending.tell(self._console, fates, trips, self._began, right=right)
        return exit_codes.OK if right else exit_codes.NOT_SO

    def _go_on(self) -> None:
        """Whoever prints goes on printing until Ctrl-C."""
        on = " and ".join(bench.part.name for bench in self._benches if bench.powered) or "nobody"
        self._console.print(
            f"\nNow {on} goes on printing for as long as you like. In another terminal you may ask the guard yourself:\n"
            f"  heatwarden status --config {self._guard.config}\n"
            "Ctrl-C ends it all, with our thanks for watching.\n",
            soft_wrap=True,
        )
        with view_on(self._console) as view:
            while not self._stop.wait(LOOK_EVERY_S):
                try:
                    self._look(view)
                except NoGuardError:
                    if not self._stop.is_set():  # Ctrl-C reaches the guard too
                        raise
        self._console.print("Good-bye; everything is switched off.")
