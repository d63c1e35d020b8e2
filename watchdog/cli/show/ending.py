"""How the show ends: the trips as they stand in the database, and how hot it became with the guard and would have become without."""

from collections.abc import Sequence
from typing import NamedTuple

from rich.console import Console
from rich.table import Table
from rich.text import Text

from watchdog.cli.output import say, say_json
from watchdog.cli.show.pace import TIMES_FASTER, minutes
from watchdog.cli.show.props import Bench, Reached
from watchdog.core.values import JsonObject
from watchdog.recorder.rows import TripRow
from watchdog.wire.plain_text import printable

ALONE_S = 3600.0
"""So long the copies of the printers are left alone."""

LONGEST_TEXT = 400
SETTLED = ("confirmed", "proven")


class Fate(NamedTuple):
    """One printer's heater that came, or would have come, nearest to harm. Temperatures are those of its hottest spot."""

    printer: str
    heater: str
    in_danger: bool
    cut: bool
    harm_c: float
    with_c: float
    without: Reached

    @property
    def as_expected(self) -> bool:
        """Cut before harm where there was danger, and only there."""
        return self.cut == self.in_danger and self.with_c < self.harm_c


def fate(bench: Bench) -> Fate:
    """How it went with this printer, and how it would have gone."""
    without, harm_c = bench.without_the_cut(ALONE_S), {name: facts.harm_c for name, facts in bench.part.heaters.items()}
    worst = bench.part.danger or max(without, key=lambda name: without[name].hottest_c - harm_c[name])
    nearest = max(harm_c, key=lambda name: bench.hottest_c[name] - harm_c[name])
    heater = nearest if bench.hottest_c[nearest] >= harm_c[nearest] else worst
    return Fate(
        bench.part.name, heater, bool(bench.part.danger), not bench.powered, harm_c[heater], bench.hottest_c[heater], without[heater]
    )


def as_expected(benches: Sequence[Bench], fates: Sequence[Fate], trips: Sequence[TripRow], states: dict[str, str]) -> bool:
    """Exactly those in danger were cut, for the right heater, in time, and it is proven; the others went on and are protected.

    `states` is what the guard says of each printer at the end.
    """
    danger = sorted((bench.part.name, bench.part.danger) for bench in benches if bench.part.danger)
    right_trips = sorted((trip.printer, trip.heater) for trip in trips) == danger and all(trip.outcome in SETTLED for trip in trips)
    right_states = all(states.get(one.printer) == ("tripped" if one.in_danger else "protected") for one in fates)
    return right_trips and right_states and all(one.as_expected for one in fates)


def tell(console: Console, fates: Sequence[Fate], trips: Sequence[TripRow], began: float, *, right: bool) -> None:
    """For people."""
    say()
    say("The trips, read back from the database:")
    for trip in reversed(trips):
        what = f"{minutes(trip.at.engine_s - began)} {trip.printer}, {trip.check}: {trip.reason}. {_outcome(trip)}."
        console.print(Text(printable(what, LONGEST_TEXT)), soft_wrap=not console.is_terminal)
    say()
    console.print(
        "How hot the hottest spot inside became: no sensor shows it, but the simulation knows. Without heatwarden: the same printer,"
        f" copied at the moment of the cut and left alone for {ALONE_S / 60.0:.0f} minutes."
    )
    console.print(_table(fates))
    cut = [one.printer for one in fates if one.cut]
    on = [one.printer for one in fates if not one.cut]
    if right:
        say(f"As it should be: {' and '.join(cut)} were cut before harm, {' and '.join(on)} printed on.")
    else:
        say(f"THIS IS NOT AS IT SHOULD BE: cut were {', '.join(cut) or 'none'}; see above what is wrong.")


def tell_json(fates: Sequence[Fate], trips: Sequence[TripRow], began: float, *, seed: int, right: bool) -> None:
    """For programs. All seconds are the workshop's, all temperatures in degrees Celsius."""
    say_json(
        {
            "as_expected": right,
            "seed": seed,
            "times_faster": TIMES_FASTER,
            "printers": {one.printer: _fate_json(one) for one in fates},
            "trips": [_trip_json(trip, began) for trip in reversed(trips)],
        }
    )


def _outcome(trip: TripRow) -> str:
    off_after_s = _off_after_s(trip)
    return f"Power off {trip.outcome}" + ("" if off_after_s is None else f" after {off_after_s:.1f} s")


def _off_after_s(trip: TripRow) -> float | None:
    settled = trip.proven or trip.confirmed
    return None if settled is None else round(settled.engine_s - trip.at.engine_s, 3)


def _table(fates: Sequence[Fate]) -> Table:
    table = Table()
    for column in ("printer", "heater", "harm begins at", "with heatwarden", "without", "harm after"):
        table.add_column(column, justify="left" if column in {"printer", "heater"} else "right")
    for one in fates:
        after = minutes(one.without.harm_after_s) if one.without.harm_after_s <= ALONE_S else "never"
        reached = f"{one.with_c:.0f} degC, {'cut' if one.cut else 'not cut'}"
        table.add_row(one.printer, one.heater, f"{one.harm_c:.0f} degC", reached, f"{one.without.hottest_c:.0f} degC", after)
    return table


def _fate_json(one: Fate) -> JsonObject:
    after_s = one.without.harm_after_s
    return {
        "cut": one.cut,
        "plug": "open" if one.cut else "closed",
        "heater": one.heater,
        "harm_c": one.harm_c,
        "hottest_with_c": round(one.with_c, 1),
        "hottest_without_c": round(one.without.hottest_c, 1),
        "harm_without_after_s": after_s if after_s <= ALONE_S else None,
    }


def _trip_json(trip: TripRow, began: float) -> JsonObject:
    return {
        "at_s": round(trip.at.engine_s - began, 3),
        "printer": trip.printer,
        "heater": trip.heater,
        "check": trip.check,
        "reason": trip.reason,
        "outcome": trip.outcome,
        "off_after_s": _off_after_s(trip),
    }
