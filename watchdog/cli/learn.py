"""`heatwarden learn PRINTER LOG...`: tighter limits from recordings of healthy work, as text for the printer's file.

With `--json`, one object on standard output:

    {"printer": NAME, "heaters": {HEATER: {"fingerprint", "hours", "limits": {CHECK: {KEY: VALUE}}, "remarks": [SENTENCE]}}}

Nothing is written anywhere: a person reads it, and puts it into the printer's file.
"""

from dataclasses import replace
from pathlib import Path

from watchdog.cli import exit_codes
from watchdog.cli.output import complain, say, say_json
from watchdog.cli.printers import find
from watchdog.replay.learning import Learning, Lesson
from watchdog.replay.runner import replay
from watchdog.settings.assemble import site_plan
from watchdog.settings.learnt import fingerprint
from watchdog.settings.model import PrinterFile, Settings
from watchdog.sources.recordings import Recording, RecordingError


def run(config: Path, printer: str, logs: list[Path], *, as_json: bool) -> int:
    """Exit code 0; 1 when something trips in a log, before or after; 2 for a bad log or an unknown printer; 78 for bad settings."""
    found = find(config, printer, outside=False)
    if isinstance(found, int):
        return found
    settings, table = found
    try:
        if not _is_quiet(settings, printer, logs, "as the settings are: only healthy work teaches anything"):
            return exit_codes.NOT_SO
        lessons = _lessons(printer, table, logs)
        if any(lesson.learnt for lesson in lessons.values()):
            taught = {name: replace(heater, learnt=lessons[name].learnt) for name, heater in table.heaters.items()}
            printers = {**settings.printers, printer: replace(table, heaters=taught)}
            if not _is_quiet(replace(settings, printers=printers), printer, logs, "with what was learnt: nothing is shown"):
                return exit_codes.NOT_SO
    except RecordingError as error:
        complain(str(error))
        return exit_codes.BAD_INPUT
    (_say_json if as_json else _say)(printer, table, lessons)
    return exit_codes.OK


def _is_quiet(settings: Settings, printer: str, logs: list[Path], when: str) -> bool:
    plan = site_plan(settings)
    for log in logs:
        for trip in replay(plan, Recording(log)).trips:
            if trip["printer"] == printer:
                complain(f"{log}: trips at {trip['time']} {when} ({trip['reason']})")
                return False
    return True


def _lessons(printer: str, table: PrinterFile, logs: list[Path]) -> dict[str, Lesson]:
    learning = Learning(table.heaters)
    for log in logs:
        learning.take((reading for _, reading in Recording(log).rows()), printer)
    return {name: learning.lesson(name, heater) for name, heater in table.heaters.items()}


def _say(printer: str, table: PrinterFile, lessons: dict[str, Lesson]) -> None:
    for name, lesson in lessons.items():
        for remark in lesson.remarks:
            say(f"# {name}: {remark}")
        if lesson.learnt is None:
            say(f"# {name}: nothing that is tighter than without recordings")
    found = {name: lesson.learnt for name, lesson in lessons.items() if lesson.learnt}
    if found:
        say(f"# for printers/{printer}.toml, in place of what was learnt before:")
    for name, learnt in found.items():
        say()
        say(f"[heaters.{name}.learnt]")
        say(f'fingerprint = "{fingerprint(table.heaters[name])}"')
        say(f"hours = {learnt.hours}")
        for check, limits in learnt.limits.items():
            say(f"limits.{check} = {{ {', '.join(f'{key} = {value}' for key, value in limits.items())} }}")


def _say_json(printer: str, table: PrinterFile, lessons: dict[str, Lesson]) -> None:
    heaters = {
        name: {
            "fingerprint": fingerprint(table.heaters[name]),
            "hours": lesson.learnt.hours if lesson.learnt else None,
            "limits": lesson.learnt.limits if lesson.learnt else {},
            "remarks": list(lesson.remarks),
        }
        for name, lesson in lessons.items()
    }
    say_json({"printer": printer, "heaters": heaters})
