"""What the service manager hears, on a real socket, as the standard of systemd has it."""

import os
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from watchdog.guard.service_manager import ServiceManager


@pytest.fixture
def ear(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """The manager's end."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(1.0)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.delenv("WATCHDOG_USEC", raising=False)
        monkeypatch.delenv("WATCHDOG_PID", raising=False)
        yield listening


@pytest.fixture
def make(ear: socket.socket) -> Iterator[Callable[[], ServiceManager]]:
    """Managers as the environment of that moment has them."""
    assert ear.fileno() > 0
    with ExitStack() as stack:

        def made() -> ServiceManager:
            manager = ServiceManager()
            stack.callback(manager.close)
            return manager

        yield made


def test_every_word_is_one_the_service_manager_knows(ear: socket.socket, make: Callable[[], ServiceManager]) -> None:
    manager = make()
    manager.ready()
    manager.status("watching anvil,\nbramble")
    manager.alive()
    manager.stopping()
    assert [ear.recv(200) for _ in range(4)] == [b"READY=1\n", b"STATUS=watching anvil, bramble\n", b"WATCHDOG=1\n", b"STOPPING=1\n"]


@pytest.mark.parametrize(
    ("usec", "pid", "seconds"),
    [
        ("12000000", "", 12.0),
        pytest.param("12000000", str(os.getpid()), 12.0, id="this process"),
        ("12000000", "1", 0.0),
        ("", "", 0.0),
        ("soon", "", 0.0),
    ],
)
def test_pings_are_wanted_only_where_they_are_asked_of_this_process(
    usec: str, pid: str, seconds: float, make: Callable[[], ServiceManager], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("WATCHDOG_USEC", usec), ("WATCHDOG_PID", pid)):
        if value:
            monkeypatch.setenv(name, value)
    assert make().watchdog_s == seconds


def test_a_manager_that_is_gone_or_reads_nothing_holds_up_nobody(
    ear: socket.socket, make: Callable[[], ServiceManager], tmp_path: Path
) -> None:
    manager = make()
    manager._sender.settimeout(0.01)
    for _ in range(40):  # more than its queue holds
        manager.alive()
    ear.close()
    (tmp_path / "notify").unlink()
    manager.stopping()
