"""A guard that gets too little: of the processor (row F49), of file descriptors (row F50)."""

import os
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.cgroups import cgroup
from rig.figures import figure
from rig.measuring import cpu_s
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0
SITE = SiteTable(printers=(simple("anvil"), simple("bramble")))
BUSY = "while True: pass"
BUSY_FOR_S = 6.0
STALL_S = 1.0
"""Half the shortest grace of this site, less a turn: a later one means that nobody listened, and is told."""

NORMAL_S = 2 * 0.25 + 0.25 + 1.0


@pytest.fixture
def shop(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Workshop]:
    with Workshop(tmp_path, SITE, broker) as shop:
        shop.begin()
        until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
        yield shop


def guard_pid(shop: Workshop) -> int:
    assert shop.guard.process is not None
    return shop.guard.process.pid


@contextmanager
def nice_beside_busy_ones(pid: int) -> Iterator[None]:
    """Lowest priority, and two busy processes for each processor."""
    for task in Path(f"/proc/{pid}/task").iterdir():
        with suppress(ProcessLookupError):  # a thread that answered somebody and has ended
            os.setpriority(os.PRIO_PROCESS, int(task.name), 19)
    with ExitStack() as stack:
        for _ in range(2 * len(os.sched_getaffinity(0))):
            busy = stack.enter_context(subprocess.Popen([sys.executable, "-c", BUSY]))
            stack.callback(busy.kill)
        yield


@contextmanager
def two_thousandths(pid: int) -> Iterator[None]:
    """Two milliseconds of one processor in each second, and no more."""
    group = cgroup("cpu")
    (group / "cpu.cfs_period_us").write_text("1000000")
    (group / "cpu.cfs_quota_us").write_text("2000")
    (group / "cgroup.procs").write_text(str(pid))
    try:
        yield
    finally:
        (group.parent / "cgroup.procs").write_text(str(pid))
        group.rmdir()


@pytest.mark.parametrize("starved", [nice_beside_busy_ones, two_thousandths])
def test_a_guard_that_hardly_gets_the_processor_cuts_late_and_only_what_is_hot(
    shop: Workshop, starved: Callable[[int], AbstractContextManager[None]]
) -> None:
    """Row F49. What it is late by is shown and told, and taken for nobody's silence. What waited is dealt with at once afterwards."""
    with starved(guard_pid(shop)):
        starved_at = seconds()
        until(lambda: seconds() - starved_at > BUSY_FOR_S / 2)
        t0 = seconds()
        shop.printers["anvil"].temperature_c = HOT_C
        until(lambda: seconds() - starved_at > BUSY_FOR_S)
    starved_s = seconds() - t0
    off_s = shop.off_after_s("anvil-plug", t0)
    lag_s = shop.guard.status()["guard"]["worst_lag_s"]
    figure(f"F49 {starved.__name__}: hot to power gone", off_s)
    figure(f"F49 {starved.__name__}: worst lag shown", lag_s)
    assert off_s < NORMAL_S + starved_s
    if lag_s > STALL_S:
        assert until(lambda: shop.warnings("did not listen") + shop.warnings("after they came"))
    assert shop.trips("bramble") == []
    assert [trip.check for trip in shop.trips("anvil")] == ["ceiling"]


def test_a_guard_without_a_free_descriptor_goes_on_cuts_and_latches(shop: Workshop) -> None:
    """Row F50: clients that cannot be accepted cost no time, and are served once there is room again."""
    pid = guard_pid(shop)
    used = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    subprocess.run(["prlimit", "--pid", str(pid), f"--nofile={used + 2}:{used + 2}"], check=True)
    with ExitStack() as stack:
        for _ in range(12):
            client = stack.enter_context(socket.socket(socket.AF_UNIX))
            client.connect(str(shop.guard.state / "guard.sock"))
        full_at, before_s = seconds(), cpu_s(pid)
        until(lambda: seconds() - full_at > 2.0)
        share = (cpu_s(pid) - before_s) / (seconds() - full_at)
        figure("F50 out of descriptors: share of a processor used", share)
        assert share < 0.3
        t0 = seconds()
        shop.printers["anvil"].temperature_c = HOT_C
        off_s = shop.off_after_s("anvil-plug", t0)
        figure("F50 out of descriptors: hot to power gone", off_s)
        assert off_s < NORMAL_S
    assert until(shop.guard.status_if_any)["guard"]["latch_file"] == ""
    assert shop.state("bramble") == "protected"
    trip = shop.guard.printer("anvil")["latch"]["trip"]
    until(lambda: not shop.guard.status()["guard"]["record"]["waiting"])
    shop.guard.kill()
    shop.begin_guard()
    assert shop.guard.printer("anvil")["latch"]["trip"] == trip
