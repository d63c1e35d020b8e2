"""Settings to running objects: the only module that knows every adapter."""

import logging
import os
from collections.abc import Callable, Collection
from pathlib import Path

from watchdog import __version__
from watchdog.core.engine import Engine
from watchdog.core.inputs import Tick
from watchdog.core.outputs import Event, Output, RelayOrder
from watchdog.core.plan import SitePlan
from watchdog.core.values import JsonObject
from watchdog.guard.answers import Answers
from watchdog.guard.clock import REAL, Clock
from watchdog.guard.control_socket import ControlSocket
from watchdog.guard.found import Found, settle, with_ghosts
from watchdog.guard.front_service import FrontService
from watchdog.guard.hands import Hands
from watchdog.guard.inbox import Inbox
from watchdog.guard.journal import Journal
from watchdog.guard.keeper import Keeper
from watchdog.guard.loop import Loop, stall_for
from watchdog.guard.process import Guard
from watchdog.guard.remainders import Remainders
from watchdog.latch.mark import MarkFile
from watchdog.latch.port import OsFilePort
from watchdog.latch.store import LatchStore, Loaded, room_for
from watchdog.recorder.writer import Recorder
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build
from watchdog.settings.assemble import (
    PUSHED_LINK,
    latched_relay_plan,
    meters,
    site_plan,
    ways_of_voices,
)
from watchdog.settings.model import Settings
from watchdog.settings.state_place import front_socket
from watchdog.sources.pushed import PushedSource
from watchdog.wired_sources import brokers_of, pages_of

log = logging.getLogger("heatwarden")

MARKS = "marks"
RECORD = "record.sqlite"
SOCKET = "guard.sock"

KEEP_DAYS = 400.0
"""Events older than this are deleted; trips and all that tells of them stay."""

ASSERT_WITHIN_S = 10.0
"""How long a guard without any settings stays to see its latches obeyed."""


class Standing:
    """What is done first of all: the latches that stood when the last guard ended are read, their relays approached."""

    def __init__(self, state: Path, clock: Clock = REAL, inbox: Inbox | None = None) -> None:
        """Reads what is kept in `state`. All that is built over it goes by `clock`, and leaves what it hears in `inbox`."""
        self.state = state
        self.clock = clock
        self.inbox = inbox or Inbox()
        self.links = Links(clock.now)
        self.drivers: dict[str, tuple[JsonObject, Driver]] = {}
        self.used_before = (state / MARKS).exists() or (state / RECORD).exists()
        self.port = OsFilePort(state)
        try:
            self.loaded = LatchStore(self.port).load(used_before=self.used_before)
        except OSError as error:
            self.loaded = Loaded({}, "both damaged", (), f"the latch file cannot be read: {error}")
        for latch in self.loaded.latches.values():
            for relay, address in latch.addresses.items():
                self.approach(relay, address)

    def approach(self, relay: str, address: JsonObject, *, checked: bool = False) -> Driver | None:
        """Build the driver of a relay, once an address; a broken address is logged and leaves the others alone."""
        known = self.drivers.get(relay)
        if known is not None and known[0] == address:
            return known[1]
        try:
            driver = build(relay, address, now=self.clock.now, report=self.inbox.report, links=self.links, checked=checked)
        except ValueError as error:
            log.critical("relay %s cannot be used: %s", relay, error)
            return None
        self.drivers[relay] = (address, driver)
        return driver


def guard_for(
    settings: Settings, standing: Standing, *, digest: str, notices: list[str], point: Callable[[str], None] = lambda _: None
) -> Guard:
    """Wire a guard for these settings over what stands. Raises OSError when the state directory cannot be used."""
    clock = standing.clock
    run = f"{clock.wall_text()[:19]}-{os.getpid()}"
    plan, marks, found = _found(site_plan(settings), standing)
    inbox = standing.inbox
    inbox.watch((printer.name, heater.name) for printer in plan.printers for heater in printer.heaters)
    inbox.watch_meters(meters(settings))
    drivers = _drivers(plan, standing, settings.main.relays)
    recorder = Recorder(standing.state / RECORD, clock.now, clock.wall_us, keep_days=KEEP_DAYS)
    journal = Journal(run, recorder, clock.wall_us)
    remainders = Remainders(standing.state, clock, used_before=standing.used_before)
    engine = Engine(plan, clock.now(), run)
    remainders.watch(engine.site, inbox.call)
    printers = [printer.name for printer in plan.printers]
    store = LatchStore(standing.port, printers, room_for(settle({}, printers, "all of them", plan).latches, printers))

    def saved(printer: str, latched: bool) -> None:  # noqa: FBT001 - the keeper's callback
        if latched:
            point("latch stored")
        else:
            inbox.call(lambda: hands.release_mark(printer))

    keeper = Keeper(store, found.latches, saved)
    hands = Hands(
        marks,
        drivers,
        keeper,
        journal,
        now=clock.now,
        wall_text=clock.wall_text,
        report=inbox.report,
        point=point,
        latched=found.latches,
        keep=remainders.keep,
    )

    def about() -> JsonObject:
        health = journal.health()
        return {
            "version": __version__,
            "run": run,
            "notices": notices + found.told,
            "warnings": journal.recent.told(clock.now()),
            "record": health._asdict(),
            "latch_file": keeper.why,
            "remainders_file": remainders.why,
            "dropped_readings": inbox.dropped,
            "pushed_readings": pushed.accepted,
            "refused_readings": pushed.refused,
            "pages": [page.told() for page in pages],
            "judged_readings": loop.judged,
            "worst_lag_s": round(loop.worst_lag_s, 3),
        }

    pushed = PushedSource(ways_of_voices(settings), inbox, clock.now, lambda: clock.wall_us() / 1e6, link=PUSHED_LINK)
    pages = pages_of(settings, inbox, journal, clock.now)
    answers = Answers(engine, hands, now=clock.now, about_guard=about)
    loop = Loop(engine, inbox, hands, answers.answer, now=clock.now, slept_s=clock.slept_s, stall_s=stall_for(engine))
    return Guard(
        engine=engine,
        loop=loop,
        hands=hands,
        answers=answers,
        keeper=keeper,
        remainders=remainders,
        journal=journal,
        recorder=recorder,
        control=ControlSocket(standing.state / SOCKET, inbox),
        front=FrontService(standing.state, front_socket(standing.state), inbox, pushed.take, printers, clock, journal.event),
        drivers=list(drivers.values()),
        sources=[pushed, *pages, *brokers_of(settings, inbox, journal, clock.now)],
        latches=list(found.latches.values()),
        notices=[Event(clock.now(), "settings", "warning", text) for text in (*notices, *found.told)],
        now=clock.now,
        version=__version__,
        settings_digest=digest,
    )


def _found(plan: SitePlan, standing: Standing) -> tuple[SitePlan, MarkFile, Found]:
    """The latches to take up, with the plan that can still command all of their relays."""
    loaded = standing.loaded
    names = list(dict.fromkeys([*(printer.name for printer in plan.printers), *loaded.latches]))
    try:
        marks = MarkFile(standing.state / MARKS, names)
        damage = marks.damage
    except OSError as error:
        marks, damage = MarkFile(None, names), f"the marks cannot be read: {error}"
    if loaded.state == "both damaged":
        damage = "; ".join(filter(None, (loaded.why, damage)))
    known, _ = marks.standing()
    found = settle(loaded.latches, (*known, *marks.removed()), damage, plan)
    plan = with_ghosts(plan, found, latched_relay_plan)
    for name in found.latches:
        marks.set(name)
    return plan, marks, found


def _drivers(plan: SitePlan, standing: Standing, checked: Collection[str]) -> dict[str, Driver]:
    """All drivers by relay. Addresses of the relays in `checked` come from checked settings, others from latches."""
    drivers = {}
    for relay in plan.relays:
        driver = standing.approach(relay.name, relay.address, checked=relay.name in checked)
        if driver is not None:
            drivers[relay.name] = driver
    return drivers


def assert_latches(standing: Standing, within_s: float = ASSERT_WITHIN_S) -> bool:
    """Command OFF whatever the standing latches want off, with no settings at all; True when all of it is confirmed.

    For a guard that has nothing to run: it leaves only after it has done what it can.
    """
    found = Found(dict(standing.loaded.latches))
    plan = with_ghosts(SitePlan("latches", (), ()), found, latched_relay_plan)
    now = standing.clock.now
    engine = Engine(plan, now())
    drivers = _drivers(plan, standing, ())
    for driver in drivers.values():
        driver.start()

    def order(outputs: list[Output]) -> None:
        for output in outputs:
            if isinstance(output, RelayOrder) and output.relay in drivers:
                drivers[output.relay].off(output.order)

    order(engine.start(found.latches.values()))
    until = now() + within_s
    while now() < until and not _all_confirmed(engine, found):
        standing.inbox.wait(min(engine.deadline() - now(), until - now(), 0.5))
        for report in standing.inbox.reports():
            order(engine.feed(report))
        order(engine.feed(Tick(now())))
    for driver in drivers.values():
        driver.stop()
    return _all_confirmed(engine, found)


def _all_confirmed(engine: Engine, found: Found) -> bool:
    return all(engine.site.power.cuts[name].verdict in ("confirmed", "proven") for name in found.latches)
