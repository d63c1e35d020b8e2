"""A guard at work does nothing that its unit refuses, and leaves nothing of its own open to others."""

import os
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig import syscalls
from rig.broker import MosquittoBroker
from rig.guard import AS_INSTALLED, Guard
from rig.processes import child
from rig.site import SiteTable, simple
from rig.units import GUARD, need, settings
from rig.workshop import Workshop, until

pytestmark = pytest.mark.rig

GROUP = 4712
STRANGER = 4711

REFUSE_NEW_CODE = """
import ctypes, os, sys
if ctypes.CDLL(None).prctl(65, 1, 0, 0, 0) != 0:  # PR_SET_MDWE, what MemoryDenyWriteExecute=yes sets too
    sys.stderr.write("this kernel cannot refuse memory that is both written and run\\n")
os.execvp(sys.argv[1], sys.argv[1:])
"""

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
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A guard in a group of its own, with a state directory as the service manager makes it, and every system call written down."""
    if os.geteuid() != 0:
        pytest.skip("only root may give a guard a group of its own")
    folder = tmp_path_factory.mktemp("confined")
    for place in (folder, *folder.parents):
        if place.owner() == "root" and place.is_relative_to("/tmp") and place != Path("/tmp"):
            place.chmod(0o755)  # the stranger must come as far as the state directory
    with MosquittoBroker(folder) as broker, Workshop(folder, SiteTable(printers=(simple("anvil", meter=True),)), broker) as shop:
        shop.guard.state.mkdir(mode=0o750)
        os.chown(shop.guard.state, 0, GROUP)
        confine = (sys.executable, "-c", REFUSE_NEW_CODE, need("setpriv", "util-linux"), "--regid", str(GROUP), "--clear-groups")
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
    calls -= {"fchown"}  # with which SQLite keeps a file's owner when it runs as root, and then only
    assert calls - syscalls.allowed(settings(GUARD)["SystemCallFilter"]) == set()
    allowed = set(settings(GUARD)["RestrictAddressFamilies"][0].split())
    assert syscalls.families(shop.folder / "trace") <= allowed | {"AF_NETLINK"}  # which a look-up of a name asks for, and can do without


def test_the_fronts_user_reads_the_record_and_the_last_good_settings_and_nothing_else(shop: Workshop) -> None:
    """Latches, marks, tokens and the command line's socket are the guard's own; nobody else gets in at all."""
    until(lambda: shop.guard.status()["guard"]["record"]["ok"], 15)
    until((shop.guard.state / "validated").exists)
    done = subprocess.run(
        [sys.executable, "-c", READ, str(shop.guard.state), str(GROUP), str(STRANGER)], check=True, capture_output=True, text=True
    )
    count, readable, validated, writable = done.stdout.splitlines()
    assert int(count) > 0
    assert {"record.sqlite", "record.sqlite-wal", "record.sqlite-shm"} <= set(readable.split())
    assert not {"latches", "marks", "tokens.json", "guard.lock", "remainders.json"} & set(readable.split())
    assert validated == "True"
    assert writable.split() == ["False"]
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
