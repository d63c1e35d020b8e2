"""Clocks that jump, stand still, begin anew or sleep: rows F37 to F41. The ageing of the record itself is in tests/recorder.

Some rows turn a guard by hand, whose clocks the test sets; others start the real one in a time namespace.
"""

import os
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from rig.broker import MosquittoBroker
from rig.by_hand import NOON_US, GuardByHand
from rig.figures import figure
from rig.guard import AS_INSTALLED, Guard
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

from watchdog.guard import clock
from watchdog.recorder.rows import EventRow
from watchdog.sources.recordings import Recording

pytestmark = pytest.mark.rig

HOUR_S = 3600.0
DAY_US = 86_400_000_000
HOT_C = 180.0
NORMAL_S = 2 * 0.25 + 1.0
"""From hot in the script to power gone, at four readings a second."""


def day_of_trips(guard: GuardByHand, jump: Callable[[], None]) -> list[tuple[Any, ...]]:
    """Ten minutes with each kind of decision in them, and a jump in the middle of each; what is on record but its wall times."""

    def but_bramble(second: int) -> None:
        if second in {5, 14}:
            jump()
        guard.hear(60.0 + second % 3 / 10, printers=("anvil", "cinder"))

    def hot(second: int) -> None:
        if second == 3:
            jump()
        guard.hear(60.0, printers=("cinder",))
        guard.hear(130.0, printers=("anvil",))

    guard.run(120)
    guard.run(20, but_bramble)  # a short silence: an advisory
    guard.run(60)
    guard.run(60, but_bramble)  # a long one: a cut
    guard.run(20, hot)
    jump()
    guard.run(300)
    return [decision(row) for row in guard.events()]


def decision(row: EventRow) -> tuple[Any, ...]:
    return row.seq, row.at.engine_s, row.kind, row.sentence, row.printer, row.heater, row.check, row.relay, tuple(row.numbers.items())


@pytest.fixture(scope="module")
def control(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Any, ...]]:
    """The same ten minutes by a clock that does not jump."""
    with GuardByHand(tmp_path_factory.mktemp("control")) as guard:
        found = day_of_trips(guard, lambda: None)
        assert guard.latched() == {"anvil": "ceiling", "bramble": "no readings"}
    return found


@pytest.mark.parametrize("jump_us", [DAY_US, -3_600_000_000, -NOON_US, 90 * DAY_US], ids=["+1 day", "-1 h", "to 1970", "+3 months"])
def test_a_wall_clock_that_jumps_changes_no_decision_and_no_order(control: list[tuple[Any, ...]], tmp_path: Path, jump_us: int) -> None:
    """Rows F37 and F41: each decision at the same engine time, in the same words, in the same order."""
    with GuardByHand(tmp_path) as guard:
        jumps = 0

        def jump() -> None:
            nonlocal jumps
            jumps += 1
            guard.wall_us = max(guard.wall_us + jump_us, 0)

        assert day_of_trips(guard, jump) == control
        assert jumps > 3
        rows = guard.events()
        assert [row.seq for row in rows] == sorted(row.seq for row in rows)
        assert (max(row.at.wall_us for row in rows) - min(row.at.wall_us for row in rows)) > min(abs(jump_us), DAY_US) / 2  # it did jump
        assert guard.latched() == {"anvil": "ceiling", "bramble": "no readings"}


@pytest.fixture
def zone() -> Iterator[Callable[[str], None]]:
    """Sets the time zone of this process; back afterwards."""
    before = os.environ.get("TZ")

    def put(name: str | None) -> None:
        if name is None:
            os.environ.pop("TZ", None)
        else:
            os.environ["TZ"] = name
        time.tzset()

    yield put
    put(before)


EDGES_US = {
    # The last Sundays of March and October 2026, 01:00 UTC: clocks in Berlin go from 2:00 to 3:00, and from 3:00 to 2:00.
    "spring": 1_774_746_000_000_000,
    "autumn": 1_792_890_000_000_000,
}


@pytest.mark.parametrize("edge", EDGES_US)
def test_summer_time_and_zones_do_not_reach_the_record(
    control: list[tuple[Any, ...]], tmp_path: Path, zone: Callable[[str], None], edge: str
) -> None:
    """Row F38, as far as there is something to see: times on record go up evenly over the edge, whatever the zone."""
    zone("Europe/Berlin")
    with GuardByHand(tmp_path) as guard:
        guard.wall_us = EDGES_US[edge] - round((guard.at + 300.0) * 1e6)
        assert day_of_trips(guard, lambda: zone("America/New_York")) == control
        rows = guard.events()
    assert rows[0].at.wall_us < EDGES_US[edge] < rows[-1].at.wall_us
    began = rows[0].at
    for row in rows:
        assert row.at.wall_us - began.wall_us == pytest.approx((row.at.engine_s - began.engine_s) * 1e6, abs=2e6)


@pytest.mark.parametrize("name", ["Europe/Berlin", "America/New_York", "Pacific/Apia", "UTC"])
def test_wall_time_for_people_is_utc_in_any_zone(zone: Callable[[str], None], name: str) -> None:
    """Row F38."""
    zone(name)
    text = clock.wall_text()
    assert text.endswith("+00:00")
    assert text[:16] in {time.strftime("%Y-%m-%dT%H:%M", time.gmtime(clock.wall_us() / 1e6 - late_s)) for late_s in (0, 1)}


@pytest.mark.parametrize("name", ["Europe/Berlin", "UTC"])
def test_a_log_with_local_stamps_is_read_without_a_gap_over_the_end_of_summer_time(
    tmp_path: Path, zone: Callable[[str], None], name: str
) -> None:
    """Row F38: the hour that comes twice carries two offsets."""
    zone(name)
    stamps = ["2026-10-25T02:59:58+02:00", "2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00", "2026-10-25T02:00:01+01:00"]
    log = tmp_path / "log.csv"
    header = "time,printer,heater,temperature_c,target_c,duty,power_w\n"
    log.write_text(header + "".join(f"{stamp},anvil,bed,60.{at},60,,\n" for at, stamp in enumerate(stamps)))
    recording = Recording(log)
    assert [reading.at for _, reading in recording.rows()] == [0.0, 1.0, 2.0, 3.0]
    assert (recording.clock.set_back, recording.clock.late) == (0, 0)


@pytest.mark.parametrize("counted", [False, True], ids=["the clock stood still", "the clock went on"])
def test_an_hour_of_sleep_makes_all_readings_stale_and_cuts_nothing(tmp_path: Path, *, counted: bool) -> None:
    """Row F39: neither the silence of the sleep nor a reading from before it counts as evidence afterwards."""
    with GuardByHand(tmp_path) as guard:
        guard.run(120)
        guard.at += 1.0
        guard.hear(130.0, printers=("anvil",))  # above the ceiling, and not yet for long enough
        guard.guard.loop.turn()
        if counted:
            guard.at += HOUR_S
        else:
            guard.slept_s += HOUR_S
        guard.guard.loop.turn()
        site = guard.guard.engine.site
        assert all(heater.temperature_c is None and heater.target_c is None for heater in site.heaters.values())
        assert guard.latched() == {}
        (slept,) = [row for row in guard.events() if row.kind == "suspended"]
        assert slept.numbers["slept_s"] == pytest.approx(HOUR_S, abs=2.0)
        guard.run(20, lambda _: None)  # nobody is heard at once
        guard.run(120)
        assert guard.latched() == {}
        guard.run(10, lambda _: guard.hear(130.0))  # and what is hot now is cut as ever
        assert set(guard.latched().values()) == {"ceiling"}


def ages(shown: Any) -> Iterator[float]:
    """Every time span in a status, however deep."""
    if isinstance(shown, dict):
        for key, value in shown.items():
            if key.endswith("_s") and isinstance(value, int | float):
                yield float(value)
            else:
                yield from ages(value)
    elif isinstance(shown, list):
        for value in shown:
            yield from ages(value)


@pytest.mark.parametrize("at", [0.0, 0.5, 3.0])
def test_a_clock_near_its_start_makes_no_negative_ages(tmp_path: Path, at: float) -> None:
    """Row F40, by hand."""
    with GuardByHand(tmp_path, at=at) as guard:
        for _ in range(100):
            guard.run(1)
            assert min(ages(guard.status())) >= 0.0
        guard.run(10, lambda _: guard.hear(130.0))
        assert set(guard.latched().values()) == {"ceiling"}


def namespace(*words: str) -> tuple[str, ...]:
    """A guard in a time namespace of its own."""
    command = ("unshare", "-T", *words)
    try:
        tried = subprocess.run([*command, "true"], capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip("no command unshare here, which makes time namespaces")
    if tried.returncode:
        pytest.skip(f"no time namespace can be made here, which needs root: {tried.stderr.strip()}")
    return (*command, *AS_INSTALLED)


def judged_in(shop: Workshop, command: tuple[str, ...]) -> None:
    """A guard in a namespace works as any other: no sleep is seen, no age is negative, what is hot loses its power."""
    shop.guard = Guard(shop.guard.config, shop.guard.state, command=command)
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    pause = threading.Event()
    for _ in range(15):
        assert min(ages(shop.guard.status())) >= 0.0
        pause.wait(0.2)
    assert shop.events("suspended") == []
    t0 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    off_s = shop.off_after_s("anvil-plug", t0)
    assert off_s < NORMAL_S
    figure(f"F39, F40 {' '.join(command[2:4])}: hot to power gone", off_s)
    assert [trip.check for trip in shop.trips("anvil")] == ["ceiling"]
    assert shop.trips("bramble") == []


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    with Workshop(tmp_path, SiteTable(printers=(simple("anvil"), simple("bramble"))), broker) as shop:
        yield shop


def test_a_computer_that_has_slept_an_hour_before_the_guard_began_is_no_news(shop: Workshop) -> None:
    """Row F39."""
    judged_in(shop, namespace("--boottime", "3600"))


def test_a_guard_in_the_first_seconds_of_the_computer_judges_as_any_other(shop: Workshop) -> None:
    """Row F40: its monotonic clock begins near zero."""
    judged_in(shop, namespace("--monotonic", str(1 - int(seconds()))))
