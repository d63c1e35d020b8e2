"""A guard at work does nothing that its unit refuses, and leaves nothing of its own open to others."""

import http.client
import os
import signal
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig import syscalls
from rig.broker import MosquittoBroker, free_port
from rig.guard import AS_INSTALLED, Guard
from rig.processes import child
from rig.site import SiteTable, simple
from rig.units import FRONT, GUARD, need, settings
from rig.workshop import Workshop, until

pytestmark = pytest.mark.rig

GROUP = 4712
STRANGER = 4711
AS_ROOT_ONLY = {"fchown"}
"""SQLite keeps a file's owner with it when it runs as root, and then only."""

REFUSE_NEW_CODE = """
import ctypes, os, sys
if ctypes.CDLL(None).prctl(65, 1, 0, 0, 0) != 0:  # PR_SET_MDWE, what MemoryDenyWriteExecute=yes sets too
    sys.stderr.write("this kernel cannot refuse memory that is both written and run\\n")
os.execvp(sys.argv[1], sys.argv[1:])
"""

CONFINE = (sys.executable, "-c", REFUSE_NEW_CODE)

READ = """
import os, sqlite3, sys
os.setgroups([int(sys.argv[2])]); os.setgid(int(sys.argv[3])); os.setuid(int(sys.argv[3]))
def may(path):
    try:
        open(path, "rb").close()
    except OSError:
        return False
    return True
try:
    print(sqlite3.connect(f"file:{sys.argv[1]}/record.sqlite?mode=ro", uri=True).execute("select count(*) from events").fetchone()[0])
except sqlite3.Error as error:
    print(error)
print(*sorted(entry.name for entry in os.scandir(sys.argv[1]) if entry.is_file() and may(entry.path)))
print(may(f"{sys.argv[1]}/validated/heatwarden.toml"))
print(os.access(sys.argv[1], os.W_OK), *[entry.name for entry in os.scandir(sys.argv[1]) if os.access(entry.path, os.W_OK)])
"""


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    """One that a stranger may enter: those of pytest are closed to others, and closed again by every run of it."""
    with tempfile.TemporaryDirectory(prefix="heatwarden-confined-") as name:
        Path(name).chmod(0o755)
        yield Path(name)


@pytest.fixture(scope="module")
def shop(folder: Path) -> Iterator[Workshop]:
    """A guard in a group of its own, with a state directory as the service manager makes it, and every system call written down."""
    if os.geteuid() != 0:
        pytest.skip("only root may give a guard a group of its own")
    site = SiteTable(printers=(simple("anvil", meter=True),), more=f"\n[front]\nport = {free_port()}\n")
    with MosquittoBroker(folder) as broker, Workshop(folder, site, broker) as shop:
        shop.guard.state.mkdir(mode=0o750)
        os.chown(shop.guard.state, 0, GROUP)
        confine = (*CONFINE, need("setpriv", "util-linux"), "--regid", str(GROUP), "--clear-groups")
        trace = (need("strace", "strace"), "-f", "--seccomp-bpf", "-qq", "-o", str(folder / "trace"))
        shop.guard = Guard(shop.guard.config, shop.guard.state, command=(*confine, *trace, *AS_INSTALLED))
        yield shop.begin()
        assert shop.guard.process is not None
        pid = child(shop.guard.process.pid, "guard")
        if pid is not None:
            os.kill(pid, signal.SIGTERM)
            shop.guard.ended_within(10)


def test_a_guard_at_work_makes_no_system_call_that_its_unit_refuses(shop: Workshop) -> None:
    """From its start to a trip on record, with memory that can be written never being run."""
    need("systemd-analyze")
    until(lambda: shop.state("anvil") == "protected", 15)
    shop.printers["anvil"].temperature_c = 180.0
    until(lambda: not shop.plugs["anvil-plug"].on)
    until(lambda: not shop.guard.status()["guard"]["record"]["waiting"])
    assert "this kernel cannot refuse" not in shop.guard.log()
    assert "CRITICAL the guard ends" not in shop.guard.log()
    calls = syscalls.made(shop.folder / "trace")
    assert {"clone3", "futex", "sendto", "fdatasync"} & calls
    calls -= AS_ROOT_ONLY
    assert calls - syscalls.allowed(settings(GUARD)["SystemCallFilter"]) == set()
    allowed = set(settings(GUARD)["RestrictAddressFamilies"][0].split())
    assert syscalls.families(shop.folder / "trace") <= allowed | {"AF_NETLINK"}  # which a look-up of a name asks for, and can do without


def test_a_front_at_work_makes_no_system_call_that_its_unit_refuses(shop: Workshop) -> None:
    """From its start over some requests to its end."""
    need("systemd-analyze")
    port, trace = int(shop.site.more.split()[-1]), shop.folder / "trace of the front"
    command = (*CONFINE, need("strace", "strace"), "-f", "--seccomp-bpf", "-qq", "-o", str(trace), *AS_INSTALLED[:-1], "front")
    front = Guard(shop.guard.config, shop.guard.state, command=command).start()
    try:
        until(lambda: answered(port, "/readyz"), 15)
        for path in ("/readyz", "/", "/v1/status", "/nowhere"):
            assert answered(port, path)
        assert front.process is not None
        pid = until(lambda: child(front.process.pid, "front") if front.process is not None else None)
        os.kill(pid, signal.SIGTERM)
        assert front.ended_within(10) == 0
    finally:
        front.__exit__(None, None, None)
    calls = syscalls.made(trace) - AS_ROOT_ONLY
    assert {"accept4", "epoll_wait"} & calls
    assert calls - syscalls.allowed(settings(FRONT)["SystemCallFilter"]) == set()
    assert syscalls.families(trace) <= set(settings(FRONT)["RestrictAddressFamilies"][0].split()) | {"AF_NETLINK"}


def answered(port: int, path: str) -> int:
    """The status of the answer to a GET; 0 without one."""
    try:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        connection.request("GET", path)
        status = connection.getresponse().status
        connection.close()
    except OSError:
        return 0
    return status


def test_the_fronts_user_reads_the_record_and_the_last_good_settings_and_nothing_else(shop: Workshop) -> None:
    """Latches, marks, tokens and the command line's socket are the guard's own; nobody else gets in at all."""
    until(lambda: shop.guard.status()["guard"]["record"]["ok"], 15)
    until((shop.guard.state / "validated").exists)
    done = subprocess.run(
        [sys.executable, "-c", READ, str(shop.guard.state), str(GROUP), str(STRANGER)], check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    count, readable, validated, writable = done.stdout.splitlines()
    assert int(count) > 0
    assert {"record.sqlite", "record.sqlite-wal", "record.sqlite-shm"} <= set(readable.split())
    assert not {"latches", "marks", "tokens.json", "guard.lock", "remainders.json"} & set(readable.split())
    assert validated == "True"
    assert set(writable.split()) <= {"False", "front.sock"}  # which is there for it, once the guard is armed
    assert "False" in writable.split()
    done = subprocess.run(
        [sys.executable, "-c", READ, str(shop.guard.state), "1", str(STRANGER)], check=False, capture_output=True, text=True
    )
    assert "unable to open database file" in done.stdout
    assert "PermissionError" in done.stderr


def test_nothing_in_the_state_directory_is_open_to_others(shop: Workshop) -> None:
    until(lambda: shop.guard.status()["guard"]["record"]["ok"], 15)
    until((shop.guard.state / "validated").exists)
    open_to_others = {
        str(path.relative_to(shop.guard.state)): oct(path.lstat().st_mode)
        for path in shop.guard.state.rglob("*")
        if path.lstat().st_mode & (stat.S_IRWXO | stat.S_IWGRP)
    }
    assert {name: mode for name, mode in open_to_others.items() if name != "front.sock"} == {}
