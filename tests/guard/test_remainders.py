"""Hours used and bypasses across restarts: shorter perhaps, never longer. Rows F41, F85 and S27."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig.broker import wait_for
from rig.feeding import events, feed, steady
from rig.plans import heater, site

from watchdog.core.engine import Engine
from watchdog.core.inputs import Bypass, EndBypass, Tick
from watchdog.core.observing import HOUR_S
from watchdog.core.outputs import Event, Output
from watchdog.core.plan import PrinterPlan
from watchdog.core.remaining import Remaining
from watchdog.guard import remainders
from watchdog.guard.clock import Clock
from watchdog.guard.remainders import SAVE_EVERY_S, Remainders
from watchdog.guard.remainders_file import NAME, Stamp, as_file, read_file

NOON_US = 1_792_929_600_000_000
MONTHS_S = 90 * 86_400.0


class Computer:
    """Its clocks, set by hand, and one guard after the other over one folder. Engine time is that of the whole boot."""

    def __init__(self, folder: Path, hours: float = 0.0) -> None:
        self.folder, self.hours = folder, hours
        self.at, self.asleep_s, self.wall_us, self.boot_id = 1000.0, 0.0, NOON_US, "first boot"
        self.told: list[Output] = []
        self.used_before = False
        self.start()

    def start(self) -> None:
        """A guard starts."""
        clock = Clock(lambda: self.at, lambda: self.asleep_s, lambda: round(self.wall_us + self.at * 1e6), lambda: "")
        self.remainders = Remainders(self.folder, clock, used_before=self.used_before, boot_id=self.boot_id)
        self.used_before = True
        self.engine = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",), observe_s=self.hours * HOUR_S)), self.at)
        self.remainders.watch(self.engine.site, lambda function: function())
        self.told = self.engine.start([], self.remainders.found)
        self.save()

    def save(self) -> None:
        """What its thread does after a change."""
        self.remainders.keep()
        self.remainders._save()
        assert self.remainders.why == ""

    def stop(self) -> None:
        """A clean end; without it the guard was killed."""
        self.remainders.keep(ahead_s=0.0)
        self.remainders._save()

    def bypass(self, seconds: float) -> None:
        feed(self.engine, Bypass("anvil", self.at, "no readings", "Robin", "tuning", seconds))
        self.save()

    def until(self) -> float | None:
        """When the bypass will run out, in engine time."""
        running = self.engine.site.printers["anvil"].bypasses.running
        return running["no readings"].until if running else None

    def heat(self, seconds: int) -> None:
        feed(self.engine, *steady(60.0, self.at, seconds + 1, target_c=60.0))
        self.at += seconds

    def used_s(self) -> float:
        return self.engine.site.printers["anvil"].observing.used_at(self.at)["", ""]


@pytest.fixture
def computer(tmp_path: Path) -> Computer:
    return Computer(tmp_path)


@pytest.mark.parametrize("clean", [True, False], ids=["stopped", "killed"])
def test_a_bypass_ends_after_a_restart_when_it_would_have_ended(computer: Computer, *, clean: bool) -> None:
    computer.bypass(600.0)
    computer.at += 100.0
    if clean:
        computer.stop()
    computer.at += 50.0
    computer.start()
    assert computer.until() == pytest.approx(1600.0)
    assert [event.person for event in events(computer.told, "bypass")] == ["Robin"]
    assert [event.at for event in events(feed(computer.engine, Tick(5000.0)), "bypass over")] == [pytest.approx(1600.0)]


def test_restart_after_restart_adds_nothing(computer: Computer) -> None:
    computer.bypass(600.0)
    for _ in range(20):
        computer.at += 7.0
        computer.start()
        until = computer.until()
        assert until is not None
        assert until == pytest.approx(1600.0, abs=1e-3)


def test_one_that_ran_out_meanwhile_has_ended(computer: Computer) -> None:
    computer.bypass(600.0)
    computer.at += 601.0
    computer.start()
    assert computer.until() is None
    assert "it ran out while no guard was running" in events(computer.told, "bypass over")[0].sentence


def test_one_that_a_person_ended_stays_ended(computer: Computer) -> None:
    computer.bypass(600.0)
    feed(computer.engine, EndBypass("anvil", computer.at, "Jo"))
    computer.save()
    computer.start()
    assert computer.until() is None
    assert not events(computer.told, "bypass", "bypass over")


@pytest.mark.parametrize("jump_s", [-MONTHS_S, -3600.0, 3600.0, MONTHS_S])
def test_a_wall_clock_that_is_set_while_the_guard_runs_moves_no_end(computer: Computer, jump_s: float) -> None:
    """Rows F41 and S27: neither early nor late."""
    computer.bypass(600.0)
    computer.at += 60.0
    computer.wall_us += round(jump_s * 1e6)
    feed(computer.engine, Tick(computer.at))
    computer.save()  # as it does every minute
    assert computer.until() == 1600.0
    computer.at += 60.0
    computer.start()
    assert computer.until() == pytest.approx(1600.0)


@given(
    ran_s=st.floats(0.0, 700.0),
    down_s=st.floats(0.0, 700.0),
    jump_s=st.floats(-2 * MONTHS_S, 2 * MONTHS_S),
    slept_s=st.floats(0.0, 700.0),
)
def test_whatever_the_clocks_do_over_a_restart_it_is_never_longer(
    tmp_path_factory: pytest.TempPathFactory, ran_s: float, down_s: float, jump_s: float, slept_s: float
) -> None:
    """Row S27. The truth is what really passed, sleep included."""
    computer = Computer(tmp_path_factory.mktemp("state"))
    computer.bypass(600.0)
    computer.at += ran_s
    feed(computer.engine, Tick(computer.at))
    computer.save()
    computer.at += down_s
    computer.asleep_s += slept_s
    computer.wall_us += round((slept_s + jump_s) * 1e6)
    computer.start()
    truly_left_s = 600.0 - ran_s - down_s - slept_s
    until = computer.until()
    if until is None:
        assert truly_left_s <= 1e-3 or jump_s > 0.0
    else:
        assert until - computer.at <= truly_left_s + 1e-3
        assert until - computer.at >= truly_left_s - max(jump_s, 0.0) - 1e-3


@pytest.mark.parametrize(
    ("boot_id", "jump_s"),
    [("second boot", 0.0), ("second boot", -3600.0), ("", 0.0), ("first boot", -900.0)],
    ids=["reboot", "reboot and no clock", "no boot id", "a boot clock that went back"],
)
def test_where_nobody_can_say_how_long_it_has_run_it_has_ended(computer: Computer, boot_id: str, jump_s: float) -> None:
    computer.bypass(600.0)
    computer.boot_id = boot_id
    computer.at += jump_s
    computer.start()
    assert computer.until() is None
    (over,) = events(computer.told, "bypass over")
    assert "nobody can say how long it has run" in over.sentence
    assert over.level == "warning"


def test_hours_are_kept_over_a_clean_end_to_the_second(tmp_path: Path) -> None:
    computer = Computer(tmp_path, hours=2.0)
    computer.heat(600)
    computer.stop()
    computer.at += 5000.0
    computer.start()
    assert computer.used_s() == 600.0


@pytest.mark.parametrize("since_s", [0, 30, 59])
def test_a_killed_guard_comes_back_with_no_fewer_hours_used(tmp_path: Path, since_s: int) -> None:
    computer = Computer(tmp_path, hours=2.0)
    computer.heat(600)
    computer.save()
    computer.heat(since_s)
    used_s = computer.used_s()
    computer.start()
    assert used_s <= computer.used_s() <= used_s + SAVE_EVERY_S


def test_a_guard_that_is_killed_again_and_again_observes_no_longer_for_it(tmp_path: Path) -> None:
    computer = Computer(tmp_path, hours=1.0)
    for _ in range(60):
        computer.heat(20)
        computer.start()
    assert computer.used_s() == 3600.0
    assert not computer.engine.site.observes


def test_hours_stay_used_when_the_key_is_taken_out_and_put_back(tmp_path: Path) -> None:
    computer = Computer(tmp_path, hours=2.0)
    computer.heat(600)
    for hours in (0.0, 0.1, 2.0):
        computer.stop()
        computer.hours = hours
        computer.start()
    assert computer.used_s() == 600.0


def test_on_a_first_start_all_hours_are_there(tmp_path: Path) -> None:
    computer = Computer(tmp_path, hours=2.0)
    assert computer.used_s() == 0.0
    assert [event.kind for event in computer.told if isinstance(event, Event)] == ["observing"]


@pytest.mark.parametrize("how", ["missing", "empty", "a directory", "cut short", "another sum", "not JSON"])
def test_a_file_that_is_lost_arms_everything_and_loudly(tmp_path: Path, how: str) -> None:
    computer = Computer(tmp_path, hours=2.0)
    computer.bypass(600.0)
    file = tmp_path / NAME
    raw = file.read_bytes()
    file.unlink()
    if how == "a directory":
        file.mkdir()
    elif how != "missing":
        spoilt = {"empty": b"", "cut short": raw[:-20], "another sum": raw.replace(b"600", b"900"), "not JSON": b"[" * 5000}
        file.write_bytes(spoilt[how])
    clock = Clock(lambda: computer.at, lambda: 0.0, lambda: NOON_US, lambda: "")
    found = Remainders(tmp_path, clock, used_before=True, boot_id="first boot").found
    assert (found.used_s, found.bypasses) == (None, ())
    told = Engine(site(PrinterPlan("anvil", (heater(),), ("plug",), observe_s=7200.0)), 0.0).start([], found)
    assert [(event.kind, event.level) for event in told if isinstance(event, Event)] == [("settings", "warning"), ("armed", "warning")]
    assert NAME in events(told, "settings")[0].sentence


@given(st.data())
def test_whatever_a_disk_makes_of_the_file_it_is_whole_or_lost(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    folder = tmp_path_factory.mktemp("state")
    stamp = Stamp("boot", 100.0, NOON_US)
    told = {"used_s": [["anvil", "", "", 12.5]], "bypasses": [["anvil", "stuck", "Robin", "tuning", 500.0]], "stamp": stamp._asdict()}
    raw = bytearray(as_file(told))
    (folder / NAME).write_bytes(raw)
    whole = read_file(folder, stamp, 50.0, used_before=True)
    assert whole.bypasses[0].until == 550.0
    for _ in range(data.draw(st.integers(1, 3))):
        raw[data.draw(st.integers(0, len(raw) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    (folder / NAME).write_bytes(raw)
    found = read_file(folder, stamp, 50.0, used_before=True)
    assert found == whole or found == Remaining(None, why=found.why)


@pytest.mark.parametrize(
    "told",
    [
        {"bypasses": [["anvil", "ceiling", "Robin", "x", 60.0]]},
        {"bypasses": [["anvil", "stuck", "Robin", "x", 1e9]]},
        {"bypasses": [["anvil", "stuck", "Robin", "x", None]]},
        {"bypasses": [["anvil", "stuck", 7, "x", 60.0]]},
        {"bypasses": [["anvil", "stuck"]]},
        {"bypasses": 7},
        {"used_s": [["anvil", "", "", -1.0]]},
        {"used_s": [["anvil", "", "", True]]},
        {"used_s": [["anvil"]]},
        {"stamp": {}},
        {"stamp": {"boot_id": "boot", "boot_s": "x", "wall_us": 0}},
    ],
    ids=str,
)
def test_what_no_guard_has_written_is_not_believed(tmp_path: Path, told: dict[str, Any]) -> None:
    stamp = Stamp("boot", 100.0, NOON_US)
    good: dict[str, Any] = {"used_s": [], "bypasses": [], "stamp": stamp._asdict()}
    (tmp_path / NAME).write_bytes(as_file(good | told))
    assert read_file(tmp_path, stamp, 50.0, used_before=True).used_s is None


@pytest.fixture
def running(computer: Computer) -> Iterator[Computer]:
    computer.remainders.start()
    yield computer
    assert computer.remainders.stop(5)


def test_what_a_person_does_is_written_at_once_by_a_thread_of_its_own(running: Computer, tmp_path: Path) -> None:
    feed(running.engine, Bypass("anvil", running.at, "no readings", "Robin", "tuning", 600.0))
    running.remainders.keep()
    assert wait_for(lambda: b"Robin" in (tmp_path / NAME).read_bytes())


def test_what_has_not_changed_is_not_written_again(running: Computer, tmp_path: Path) -> None:
    assert wait_for(lambda: not running.remainders._wake.is_set())
    before = (tmp_path / NAME).stat()
    for _ in range(5):
        running.at += 60.0
        running.remainders.keep()
        assert wait_for(lambda: not running.remainders._wake.is_set())
    after = (tmp_path / NAME).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_it_is_saved_again_and_again_while_it_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remainders, "SAVE_EVERY_S", 0.02)
    computer = Computer(tmp_path, hours=2.0)
    computer.remainders.start()
    first = (tmp_path / NAME).stat().st_ino
    computer.heat(100)
    assert wait_for(lambda: (tmp_path / NAME).stat().st_ino != first)
    assert computer.remainders.stop(5)


def test_a_disk_that_refuses_is_told_and_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remainders, "RETRY_S", 0.02)
    (tmp_path / f"{NAME}.new").mkdir()
    clock = Clock(lambda: 0.0, lambda: 0.0, lambda: NOON_US, lambda: "")
    kept = Remainders(tmp_path, clock, used_before=False, boot_id="boot")
    kept.watch(Engine(site(), 0.0).site, lambda function: function())
    kept.start()
    assert wait_for(lambda: kept.why)
    (tmp_path / f"{NAME}.new").rmdir()
    assert wait_for(lambda: not kept.why)
    assert (tmp_path / NAME).exists()
    assert kept.stop(5)


def test_the_boot_of_this_computer_has_a_name() -> None:
    assert remainders._boot_id() == remainders._boot_id() != ""
