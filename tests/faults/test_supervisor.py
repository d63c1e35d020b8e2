"""`heatwarden run`: both processes come back whatever ends them, and it ends when it is told to. Rows F43, F44, F52 and F53."""

import os
import signal
import socket
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig import faulty_guard
from rig.broker import MosquittoBroker, free_port
from rig.cgroups import cgroup
from rig.figures import figure
from rig.guard import Guard
from rig.processes import child, children, lives, oom_score
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

from watchdog.recorder.reader import Reader
from watchdog.settings.read import read_all
from watchdog.settings.validated_copy import PROVEN, keep

pytestmark = pytest.mark.rig

RUN = (sys.executable, "-m", "watchdog.cli.main", "run")
HOT_C = 180.0
TOO_LITTLE = 25 * 2**20
"""Bytes of memory beside a running guard and its supervisor: a front needs more than twice that."""


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    """A workshop that is guarded by `heatwarden run`, not begun yet."""
    site = SiteTable(printers=(simple("anvil"),), more=f"\n[front]\nport = {free_port()}\n")
    with Workshop(tmp_path, site, broker) as shop:
        shop.guard = Guard(shop.guard.config, shop.guard.state, command=RUN)
        yield shop


def supervisor(shop: Workshop) -> int:
    assert shop.guard.process is not None
    return shop.guard.process.pid


def guard_pid(shop: Workshop) -> int:
    pid: int = until(lambda: child(supervisor(shop), "guard"))
    return pid


def front_pid(shop: Workshop) -> int:
    pid: int = until(lambda: child(supervisor(shop), "front"))
    return pid


def answers(shop: Workshop) -> bool:
    """Whether somebody listens at the front's port."""
    port = int(shop.site.more.split()[-1])
    with socket.socket() as client:
        return client.connect_ex(("127.0.0.1", port)) == 0


def kill_guard(shop: Workshop) -> float:
    """Kill the guard once it answers; seconds until the next one does."""
    pid = guard_pid(shop)
    t0 = seconds()
    os.kill(pid, signal.SIGKILL)
    until(lambda: (status := shop.guard.status_if_any()) is not None and not status["guard"]["run"].endswith(f"-{pid}"))
    return seconds() - t0


def test_a_killed_guard_is_back_in_less_than_five_seconds_and_its_latch_stands(shop: Workshop) -> None:
    """Row F43."""
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    shop.printers["anvil"].temperature_c = HOT_C
    until(lambda: shop.guard.printer("anvil")["latch"])
    shop.off_after_s("anvil-plug", 0.0)
    trip = shop.guard.printer("anvil")["latch"]["trip"]
    threading.Event().wait(0.2)  # the latch is stored a few milliseconds after the power is gone
    down_s = kill_guard(shop)
    figure("F43 guard killed to the next one answering", down_s)
    assert down_s < 5.0
    assert shop.guard.printer("anvil")["latch"]["trip"] == trip
    shop.plugs["anvil-plug"].switch(on=True)
    until(lambda: not shop.plugs["anvil-plug"].on)
    assert "the guard ended by signal 9 (Killed); started again in 1 s" in shop.guard.log()
    reader = Reader(shop.guard.state / "record.sqlite")
    until(lambda: [row.broken_off for row in reader.runs()] == [False, True])  # the gap is on record


def test_a_guard_that_dies_again_and_again_comes_back_every_time_and_goes_back_to_what_ran_well(shop: Workshop) -> None:
    """Row F44: three deaths in a row soon after the start, and the settings that ran well are in charge, loudly."""
    shop.guard.state.mkdir()
    keep(shop.guard.state, read_all(shop.guard.config).texts, PROVEN)
    file = shop.guard.config / "printers" / "anvil.toml"
    file.write_text(file.read_text().replace("grace_s = 3.0", "grace_s = 4.0"))
    shop.begin()
    for _ in range(3):
        assert shop.guard.status()["guard"]["notices"] == []
        figure("F44 guard killed to the next one answering", kill_guard(shop))
    for deaths in (3, 4, 5):
        (notice,) = shop.guard.status()["guard"]["notices"]
        assert notice.startswith(f"THE GUARD DIED {deaths} TIMES IN A ROW SOON AFTER ITS START: the last good settings run")
        until(lambda: shop.state("anvil") == "protected")
        figure("F44 guard killed to the next one answering", kill_guard(shop))
    assert shop.loud("THE GUARD DIED 6 TIMES IN A ROW").level == "warning"
    t0 = seconds()
    until(lambda: shop.state("anvil") == "protected")
    shop.printers["anvil"].temperature_c = HOT_C
    assert shop.off_after_s("anvil-plug", t0) < 8.0
    shop.guard.stop()
    assert not (shop.guard.state / "starts").exists()


def test_a_guard_that_fails_while_it_starts_says_why_and_ends_with_70(shop: Workshop) -> None:
    """Row F44: it does not look like a second one, for which nobody would start it again."""
    shop.guard.command = (sys.executable, str(Path(faulty_guard.__file__)), "--die")
    shop.guard.start()
    assert shop.guard.ended_within(10) == 70
    assert "RuntimeError: a fault of the program" in shop.guard.log()
    assert (shop.guard.state / "starts").read_text().startswith("1 ")


def test_told_to_stop_it_ends_soon_and_touches_no_relay(shop: Workshop) -> None:
    """Row F53, also with a child that hangs."""
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    pids = set(children(supervisor(shop)))
    t0 = seconds()
    os.kill(supervisor(shop), signal.SIGTERM)
    assert shop.guard.ended_within(5) == 0
    figure("F53 run told to stop to its end", seconds() - t0)
    assert shop.plugs["anvil-plug"].on
    assert shop.plugs["anvil-plug"].heard == []
    assert not any(lives(pid) for pid in pids)
    assert "told to stop; relays stay as they are" in shop.guard.log()


def test_a_guard_that_hangs_is_killed_in_time(shop: Workshop) -> None:
    """Row F53."""
    shop.begin()
    pid = guard_pid(shop)
    os.kill(pid, signal.SIGSTOP)
    t0 = seconds()
    os.kill(supervisor(shop), signal.SIGINT)
    assert shop.guard.ended_within(6) == 0
    figure("F53 run told to stop to its end, its guard hanging", seconds() - t0)
    assert seconds() - t0 < 5.0
    assert not lives(pid)
    assert "the guard did not end within 3.5 s" in shop.guard.log()
    assert shop.plugs["anvil-plug"].on


def test_a_front_that_ends_or_hangs_is_no_matter_of_the_guards(shop: Workshop) -> None:
    """Rows F47 and F53: killed it comes back, hanging it is killed at the end, and the guard goes on as if there were none."""
    shop.begin()
    first = front_pid(shop)
    guard = guard_pid(shop)
    os.kill(first, signal.SIGKILL)
    t0 = seconds()
    until(lambda: child(supervisor(shop), "front") not in {None, first})
    figure("F47 front killed to its next start", seconds() - t0)
    until(lambda: answers(shop), 15)
    figure("F47 front killed to the next one answering", seconds() - t0)
    os.kill(front_pid(shop), signal.SIGSTOP)
    until(lambda: shop.state("anvil") == "protected")
    t1 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    assert shop.off_after_s("anvil-plug", t1) < 2 * 0.25 + 1.0
    assert guard_pid(shop) == guard
    t2 = seconds()
    os.kill(supervisor(shop), signal.SIGTERM)
    assert shop.guard.ended_within(6) == 0
    figure("F53 run told to stop to its end, its front hanging", seconds() - t2)
    assert seconds() - t2 < 5.0


def test_when_memory_runs_out_the_front_goes_first_and_the_guard_goes_on(shop: Workshop) -> None:
    """Row F48: in a control group that has room for a guard and not for a front beside it."""
    group = cgroup("memory")
    shop.callback(group.rmdir)
    shop.callback(lambda: until(lambda: not (group / "cgroup.procs").read_text()))
    inside = f'echo $$ > {group}/cgroup.procs; exec "$@"'
    shop.guard.command = ("/bin/sh", "-c", inside, "sh", *RUN)
    shop.begin()
    guard = guard_pid(shop)
    until(lambda: answers(shop), 15)
    os.kill(front_pid(shop), signal.SIGKILL)
    until(lambda: shop.guard.log().count("the front ended by signal 9") == 1)
    resident = next(int(line.split()[1]) for line in (group / "memory.stat").read_text().splitlines() if line.startswith("rss "))
    (group / "memory.limit_in_bytes").write_text(str(resident + TOO_LITTLE))
    until(lambda: shop.guard.log().count("the front ended by signal 9") > 1, 15)
    (kills,) = [line.split()[1] for line in (group / "memory.oom_control").read_text().splitlines() if line.startswith("oom_kill ")]
    assert int(kills) >= 1
    assert guard_pid(shop) == guard
    assert "the guard ended" not in shop.guard.log()
    until(lambda: shop.state("anvil") == "protected")
    t0 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    off_s = shop.off_after_s("anvil-plug", t0)
    figure("F48 out of memory: hot to power gone", off_s)
    assert off_s < 2 * 0.25 + 1.5
    shop.guard.stop()


def test_the_kernel_is_told_whom_to_take_first(shop: Workshop) -> None:
    """Row F48, without running out of it."""
    shop.begin()
    until(lambda: oom_score(front_pid(shop)) > oom_score(guard_pid(shop)) + 100)


def test_a_second_one_is_refused_and_says_so(shop: Workshop) -> None:
    """Row F52."""
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    run = shop.guard.status()["guard"]["run"]
    second = Guard(shop.guard.config, shop.guard.state, command=RUN)
    second.start()
    assert second.ended_within(10) == 1
    assert "another guard is already running" in shop.guard.log()
    assert "the guard ended with 1, and it would again: this ends too" in shop.guard.log()
    assert shop.guard.status()["guard"]["run"] == run


def test_settings_that_cannot_be_run_end_it_with_78(shop: Workshop) -> None:
    """Row F84."""
    file = shop.guard.config / "printers" / "anvil.toml"
    file.write_text(file.read_text()[:-12])
    shop.guard.start()
    assert shop.guard.ended_within(10) == 78
    assert "there is no validated copy" in shop.guard.log()
