"""The engine: inputs in, outputs out. Time is what the inputs say; it never goes back.

Before each input every deadline that falls due is run at its exact time, so that ticks carry no meaning of their own and a
replay equals life. Nothing that is fed can stop it: a check that raises is itself a finding.
"""

from collections.abc import Iterable

from watchdog.core.heater import Heater
from watchdog.core.inputs import Bypass, EndBypass, Input, Reading, RelayReport, Reset, SourceReport, Suspended, TripByHand, Unusable
from watchdog.core.judging import run_deadline, take_reading
from watchdog.core.latch import Latch
from watchdog.core.listening import link_news, relay_report, source_report, suspended, unusable
from watchdog.core.outputs import Event, LatchChange, Mark, Output, RelayOrder
from watchdog.core.plan import SitePlan
from watchdog.core.power import Power
from watchdog.core.printer import Printer
from watchdog.core.rearming import begin, bypass, end_bypass, run_out
from watchdog.core.releasing import fail_probation, reset
from watchdog.core.remaining import Remaining
from watchdog.core.site import Site
from watchdog.core.source import Link
from watchdog.core.tripping import take_up, trip_by_hand
from watchdog.core.values import JsonObject

ABSURD_JUMP_S = 366 * 86400.0
"""An input from further ahead than this has a wrong time; it is taken as of now."""

NOTHING_REMAINS = Remaining()


class Engine:
    """Guards a site. `feed` is deterministic: same inputs, same outputs, whole or in pieces, before or after a snapshot."""

    def __init__(self, plan: SitePlan, at: float, run: str = "run") -> None:
        """Begin to watch at engine time `at`, in seconds. `run` makes the names of its trips unique."""
        self.site = Site(plan, at, run)

    @property
    def now(self) -> float:
        """The engine's time, in seconds."""
        return self.site.now

    def deadline(self) -> float:
        """When the engine wants to be fed a Tick at the latest, in engine seconds."""
        return self.site.timeline.nearest()

    def start(self, latches: Iterable[Latch], remaining: Remaining = NOTHING_REMAINS) -> list[Output]:
        """First of all: command OFF, once more, whatever a standing latch wants off. Then go on with what only observes or is bypassed."""
        out: list[Output] = []
        for latch in latches:
            take_up(self.site, latch, self.site.now, out)
        begin(self.site, remaining, self.site.now, out)
        self.site.relays_moved(self.site.by_relay)
        return in_order(out)

    def feed(self, item: Input) -> list[Output]:
        """Take one input and say what must be done, first things first."""
        site = self.site
        out: list[Output] = []
        at, now = item.at, site.now
        if not at - now <= ABSURD_JUMP_S:
            at = now
            item = item._replace(at=at)
        elif at < now:
            at = now
        if site.timeline.nearest() <= at and not isinstance(item, Suspended):  # no deadline may count a sleep
            self._run_due(at, out)
        site.now = at
        if isinstance(item, Reading):
            take_reading(site, item, at, out)
        else:
            self._take(item, at, out)
        return in_order(out) if len(out) > 1 else out

    def _take(self, item: Input, at: float, out: list[Output]) -> None:
        match item:
            case RelayReport():
                relay_report(self.site, item, at, out)
            case SourceReport():
                source_report(self.site, item, at, out)
            case Unusable():
                unusable(self.site, item, at, out)
            case Suspended():
                suspended(self.site, item, at, out)
            case TripByHand():
                trip_by_hand(self.site, item, at, out)
            case Reset():
                reset(self.site, item, at, out)
            case Bypass():
                bypass(self.site, item, at, out)
            case EndBypass():
                end_bypass(self.site, item, at, out)
                self._run_due(at, out)  # what stands cuts right now
            case _:  # a Tick
                pass

    def _run_due(self, at: float, out: list[Output]) -> None:
        site = self.site
        for moment, timed in site.timeline.due(at):
            site.now = now = max(site.now, moment)
            if isinstance(timed, Heater):
                run_deadline(site, timed, now, out)
            elif isinstance(timed, Power):
                out += timed.expire(now)
                site.relays_moved({relay for cut in timed.cuts.values() for relay in cut.relays})
            elif isinstance(timed, Link):
                out += link_news(timed, now)
            elif isinstance(timed, Printer):
                if timed.probation_by <= now:
                    fail_probation(site, timed, now, out)
                run_out(site, timed, now, out)

    def take_headroom(self) -> dict[str, dict[str, dict[str, float]]]:
        """How near each check came since this was last asked, 0 (far) to 1 (tripped), by printer, heater and check."""
        report: dict[str, dict[str, dict[str, float]]] = {}
        for (printer, name), heater in self.site.heaters.items():
            report.setdefault(printer, {})[name] = {check.name: round(check.headroom, 4) for check in heater.checks}
            for check in heater.checks:
                check.headroom = 0.0
        return report

    def snapshot(self) -> JsonObject:
        """Everything that decides what comes next, as plain JSON values."""
        return self.site.snapshot()

    def restore(self, saved: JsonObject) -> None:
        """Continue from `snapshot` under the same plan."""
        self.site.restore(saved)


_RANKS: dict[type[Output], int] = {Mark: 0, RelayOrder: 1, LatchChange: 2, Event: 3}


def in_order(out: list[Output]) -> list[Output]:
    """Marks before relay orders before latches before the record; otherwise as they came."""
    return sorted(out, key=lambda output: _RANKS[type(output)])
