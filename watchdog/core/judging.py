"""A reading comes in, every check of its heater looks at it, and findings become advice or a trip."""

from watchdog.core.check import Check, Finding
from watchdog.core.heater import Heater
from watchdog.core.inputs import Reading
from watchdog.core.outputs import Output
from watchdog.core.rearming import note_heating, withholds
from watchdog.core.releasing import watch_probation
from watchdog.core.repeated import is_news
from watchdog.core.site import Site, heater_event
from watchdog.core.tripping import cut_too, trip
from watchdog.core.values import INFINITY, NEVER

TELL_EVERY_S = 60.0
"""What goes on and on is told this often, not a message at a time."""

STUCK_DEADLINE_S = 1.0
"""A check that does not move its deadline is failing; it is asked again after this."""


def take_reading(site: Site, item: Reading, at: float, out: list[Output]) -> None:
    """Note a reading and judge its heater. The path of every live reading: lean on purpose."""
    heater = site.heaters.get((item.printer, item.heater))
    if heater is None:
        _not_a_heater(site, item, at, out)
        return
    if not (item.sensor or item.retained):
        heater.spoke_at = at
    if not is_news(heater, item):
        heater.ignored += 1
        if item.temperature_c is not None and not item.retained and at == item.at and heater.burst.holds(at):
            _burst(site, heater, at, out)
        return
    heater.take(item, at)
    heater.readings += 1
    if heater.fresh:
        burst = heater.burst.holds(at)
        if not item.sensor:  # a further sensor has a board and a source of its own: it proves nothing about these
            _controller_spoke(site, heater, at, out, burst=burst)
        if burst:
            _burst(site, heater, at, out)
            return
    judge(site, heater, at, out)


def _controller_spoke(site: Site, heater: Heater, at: float, out: list[Output], *, burst: bool) -> None:
    heater.source.alive_at = at
    if not burst:
        _observe(heater, at, out)
    if heater.silent_told or heater.source.gone or heater.darkened:
        _heard_again(site, heater, at, out)
    printer = site.printers[heater.printer]
    if printer.latch is not None and heater.temperature_c is not None:
        out += site.power.temperature(heater.printer, heater.temperature_c, heater.heater, at)
        site.timeline.schedule(site.power)
    elif printer.probation != "none":
        watch_probation(site, printer, at, out)


def judge(site: Site, heater: Heater, at: float, out: list[Output]) -> None:
    """Let every check of a heater look at it that has anything to judge."""
    if site.observes:
        note_heating(site, site.printers[heater.printer], at)
    broken = heater.broken
    for check in heater.asked:
        try:
            finding = check.on_reading(heater)
        except Exception as error:  # noqa: BLE001 - a check that raises is a finding, not an end
            _check_failed(heater, check, error, at, out)
        else:
            if finding is not None:
                _found(site, heater, check, finding, at, out)
            if broken:
                _check_recovered(heater, check, at, out)
    if heater.deadline() < heater.scheduled_at:
        site.timeline.schedule(heater)


def run_deadline(site: Site, heater: Heater, at: float, out: list[Output]) -> None:
    """Run what is due for a heater at exactly `at`."""
    heater.now, heater.fresh = at, False
    if heater.burst.judge_at <= at:
        heater.burst.judge_at, heater.fresh = INFINITY, True
        judge(site, heater, at, out)
        heater.fresh = False
    for check in heater.timed:
        if check.deadline > at:
            continue
        try:
            finding = check.on_deadline(heater)
            if check.deadline <= at:
                raise RuntimeError(f"deadline {check.deadline} was not moved")  # noqa: TRY301 - it is the check that fails here
        except Exception as error:  # noqa: BLE001 - as above
            check.deadline = at + STUCK_DEADLINE_S
            _check_failed(heater, check, error, at, out)
            continue
        if finding is not None:
            _found(site, heater, check, finding, at, out)


def _not_a_heater(site: Site, item: Reading, at: float, out: list[Output]) -> None:
    """The metered power of a whole printer, or something nobody declared."""
    printer = site.printers.get(item.printer)
    if printer is None or item.heater:
        site.unknown += 1
    elif item.power_w is not None and not item.retained:
        printer.power_w, printer.power_at = item.power_w, at
        for heater in printer.heaters:
            heater.take_metered(item.power_w, at)
            judge(site, heater, at, out)


def _observe(heater: Heater, at: float, out: list[Output]) -> None:
    assert heater.temperature_c is not None
    times: float | None = None
    try:
        heater.observer.add(at, heater.temperature_c)
        if not heater.source.on_change:
            times = heater.rate.heard(at, heater.source.longest_interval_s)
    except Exception as error:  # noqa: BLE001 - checks on raw readings must survive an observer that fails
        if not heater.observer_failed:
            heater.observer_failed = True
            out.append(heater_event(heater, at, "observer failed", "warning", f"the observer of {heater.heater} failed: {error!r}"))
    if times is not None:
        why = f"{heater.heater} reports {times:.1f} times as often as before: is somebody else publishing on its topic?"
        out.append(heater_event(heater, at, "second publisher", "warning", why, {"times": times}))


def _burst(site: Site, heater: Heater, at: float, out: list[Output]) -> None:
    """Messages that come far faster than the source can report: only the newest counts, and time counts by the clock."""
    burst = heater.burst
    if burst.judge_at != INFINITY:
        return
    burst.judge_at = at + burst.window_s
    site.timeline.schedule(heater)
    if at >= burst.told_at + TELL_EVERY_S:
        burst.told_at = at
        why = f"readings of {heater.heater} come in a burst: a queue that was held back, or a flood; only the newest counts"
        out.append(heater_event(heater, at, "burst", "warning", why))


def _heard_again(site: Site, heater: Heater, at: float, out: list[Output]) -> None:
    if heater.silent_told:
        heater.silent_told = False
        out.append(heater_event(heater, at, "readings resumed", "info", f"{heater.heater} is heard again"))
    source = heater.source
    if source.gone:
        source.gone = False
        why = f"the source {source.name} said that it is gone, yet its readings go on"
        out.append(heater_event(heater, at, "source contradiction", "warning", why))
    if heater.darkened:
        relays = site.printers[heater.printer].plan.relays
        site.power.talked_on(relays, at)
        heater.darkened = site.power.darkens(relays)


def _check_failed(heater: Heater, check: Check, error: Exception, at: float, out: list[Output]) -> None:
    known = check.name in heater.broken
    heater.broken[check.name] = repr(error)
    if not known:
        why = f"the check {check.name} of {heater.heater} failed and protects less: {error!r}"
        out.append(heater_event(heater, at, "check failed", "warning", why, check=check.name))


def _check_recovered(heater: Heater, check: Check, at: float, out: list[Output]) -> None:
    if heater.broken.pop(check.name, None) is not None:
        why = f"the check {check.name} of {heater.heater} works again"
        out.append(heater_event(heater, at, "check recovered", "info", why, check=check.name))


def _found(site: Site, heater: Heater, check: Check, finding: Finding, at: float, out: list[Output]) -> None:
    printer = site.printers[heater.printer]
    sentence, numbers = finding.sentence, finding.numbers
    if finding.demand == "advise":
        if check.name == "no readings":
            heater.silent_told = True
            note_heating(site, printer, at)
            if site.tells_unheard or heater.readings:
                link = site.links[heater.source.link]
                link.hear(at, "readings stopped", [f"{heater.printer}/{heater.heater}"])
                site.timeline.schedule(link)
        elif _is_time_to_tell(heater, check, at):
            out.append(heater_event(heater, at, "advice", "warning", sentence, numbers, check.name))
    elif withholds(printer, heater.heater, check.name):
        printer.withheld[heater.heater, check.name] = at
        if _is_time_to_tell(heater, check, at):
            out.append(heater_event(heater, at, "would have cut", "warning", sentence, numbers, check.name))
    elif printer.latch is not None:
        cut_too(site, printer, heater, check.name, finding, at, out)
    else:
        trip(site, printer, heater, check.name, finding, at, out)


def _is_time_to_tell(heater: Heater, check: Check, at: float) -> bool:
    """What a check says again and again is told once in a while."""
    if at < heater.told.get(check.name, NEVER) + TELL_EVERY_S:
        return False
    heater.told[check.name] = at
    return True
