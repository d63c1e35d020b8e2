"""`heatwarden replay`: recorded logs through the very engine."""

import time
from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.output import complain, say, say_json
from watchdog.core.plan import SitePlan
from watchdog.replay.runner import Verdict, replay
from watchdog.settings.assemble import site_plan
from watchdog.settings.load import load
from watchdog.sources.recordings import Recording, RecordingError


def run(config: Path, logs: list[Path], *, as_json: bool) -> int:
    """Exit code 0 when nothing trips, 1 when something does, 2 for a log that cannot be read, 78 for bad settings.

    With `as_json` one object: `{"logs": [...], "seconds": wall, "readings": n}`.
    """
    loaded = load(config, outside=False)
    if loaded.settings is None:
        for problem in loaded.problems:
            complain(str(problem))
        return exit_codes.BAD_SETTINGS
    plan = site_plan(loaded.settings)
    began = time.perf_counter()
    try:
        verdicts = _replay_all(plan, logs)
    except RecordingError as error:
        complain(str(error))
        return exit_codes.BAD_INPUT
    seconds = time.perf_counter() - began
    readings = sum(verdict.readings for verdict in verdicts)
    if as_json:
        say_json({"logs": [verdict.to_json() for verdict in verdicts], "seconds": round(seconds, 3), "readings": readings})
    else:
        for verdict in verdicts:
            _tell(verdict)
        say(f"{readings} readings in {seconds:.1f} s")
    return exit_codes.NOT_SO if any(verdict.trips for verdict in verdicts) else exit_codes.OK


def _replay_all(plan: SitePlan, logs: list[Path]) -> list[Verdict]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    verdicts = []
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        for path in logs:
            recording = Recording(path)
            task = bar.add_task(path.name, total=None)

            def moved(done: int, task: object = task, recording: Recording = recording) -> None:
                bar.update(task, completed=done, total=recording.size)  # type: ignore[arg-type]  # rich's own TaskID

            verdicts.append(replay(plan, recording, moved))
            bar.remove_task(task)
    return verdicts


def _tell(verdict: Verdict) -> None:
    say(f"{verdict.log}: {verdict.readings} readings, {verdict.first} to {verdict.last}")
    for trip in verdict.trips:
        say(f"  TRIP {trip['time']} {trip['printer']}/{trip['heater']} by {trip['check']}: {trip['reason']}")
    if not verdict.trips:
        say("  nothing tripped")
    for advice in verdict.advisories:
        where = "/".join(filter(None, (advice["printer"], advice["heater"]))) or "several printers:"
        say(f"  advice {advice['time']} {where} {advice['check']}: {advice['reason']}")
    nearest = sorted(
        (
            (share, printer, heater, check)
            for printer, heaters in verdict.headroom.items()
            for heater, checks in heaters.items()
            for check, share in checks.items()
        ),
        reverse=True,
    )[:3]
    say(
        "  nearest to a trip (100% trips): "
        + ", ".join(f"{printer}/{heater} {check} {share:.0%}" for share, printer, heater, check in nearest)
    )
    if verdict.unreadable:
        say(f"  {verdict.unreadable} unreadable cells, the first in {verdict.first_unreadable}")
    for name in verdict.unseen:
        say(f"  NO TEMPERATURE of {name} could be read: nothing was judged of it but its silence")
    for count, what in (
        (verdict.late, "late rows dropped"),
        (verdict.set_back, "times the clock was set back"),
    ):
        if count:
            say(f"  {count} {what}")
    if verdict.strangers:
        say(f"  not in the settings, not judged: {', '.join(verdict.strangers[:10])}")
