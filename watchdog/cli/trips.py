"""`heatwarden trips`: what is on record."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from watchdog.cli import exit_codes
from watchdog.cli.output import complain, say, say_json
from watchdog.core.values import JsonObject
from watchdog.settings.state_place import state_directory

if TYPE_CHECKING:
    from watchdog.recorder.rows import EventRow, Moment, TripRow, TripStory

RECORD = "record.sqlite"


def run(config: Path, state: Path | None, *, trip: str, printer: str, last: int, as_json: bool) -> int:
    """Exit code 0 when the record could be read, 2 when it could not or the trip is not in it."""
    from watchdog.recorder.reader import Reader, RecordUnreadable

    path = state_directory(config, state) / RECORD
    try:
        reader = Reader(path)
        if not trip:
            rows = reader.trips(last, printer=printer)
            known = sorted(path.stem for path in (config / "printers").glob("*.toml"))
            if printer and not rows and known and printer not in known:
                complain(f"there is no printer {printer!r}, and none of that name on record; the settings have {', '.join(known)}")
                return exit_codes.BAD_INPUT
            _list(rows, as_json=as_json)
            return exit_codes.OK
        story = reader.trip(int(trip) if trip.isdecimal() else trip)
    except RecordUnreadable as error:
        complain(str(error))
        return exit_codes.BAD_INPUT
    if story is None:
        complain(f"there is no trip {trip!r} on record; `heatwarden trips` lists them")
        return exit_codes.BAD_INPUT
    if as_json:
        say_json(_trip_json(story.trip) | {"events": [_event_json(event) for event in story.events]})
    else:
        tell(story)
    return exit_codes.OK


def _list(rows: list["TripRow"], *, as_json: bool) -> None:
    if as_json:
        say_json({"trips": [_trip_json(row) for row in rows]})
        return
    if not rows:
        say("no trips on record")
    for row in rows:
        say(trip_line(row))


def trip_line(row: "TripRow") -> str:
    """One trip in one line."""
    where = f"{row.printer}/{row.heater}" if row.heater else row.printer
    by = row.check if row.check == "by hand" else f"by {row.check or 'a cause that was lost'}"
    kind = " (for want of readings)" if row.kind == "missing readings" else ""
    settled = row.confirmed or row.proven
    after = "" if settled is None else f" in {settled.engine_s - row.at.engine_s:.3f} s"
    reset = f"; reset by {row.reset_by}" if row.reset is not None else ""
    return f"#{row.id} {_when(row.at)} {where} {by}{kind}: {row.reason}. Power off {row.outcome}{after}{reset}"


def tell(story: "TripStory") -> None:
    """One trip step by step, in seconds since it."""
    say(trip_line(story.trip))
    for key, value in story.trip.numbers.items():
        say(f"  {key} = {value:g}")
    for event in story.events:
        by = f" ({event.person})" if event.person else ""
        say(f"  {event.at.engine_s - story.trip.at.engine_s:+9.3f} s  {event.kind}: {event.sentence}{by}")


def _when(moment: "Moment") -> str:
    return datetime.fromtimestamp(moment.wall_us / 1e6, UTC).isoformat(timespec="milliseconds")


def _moment_json(moment: "Moment | None") -> JsonObject | None:
    return None if moment is None else {"time": _when(moment), "engine_s": moment.engine_s}


def _trip_json(row: "TripRow") -> JsonObject:
    moments = {name: _moment_json(getattr(row, name)) for name in ("at", "confirmed", "proven", "unconfirmed", "reset")}
    plain = {key: value for key, value in row._asdict().items() if key not in moments}
    return plain | moments | {"outcome": row.outcome}


def _event_json(row: "EventRow") -> JsonObject:
    return row._asdict() | {"at": _moment_json(row.at)}
