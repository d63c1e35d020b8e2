"""Row F74, threat S14: a program that opens a relay may do anything, and is over when it is over."""

import os
import signal
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.command import CommandDriver
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build

pytestmark = pytest.mark.rig  # real processes, brokers and disks, in real seconds

Drive = Callable[..., Driver]


def script(folder: Path, name: str, body: str, *, first: str = "#!/bin/sh") -> str:
    path = folder / name
    path.write_text(f"{first}\n{body}\n")
    path.chmod(0o755)
    return str(path)


def command(off: str, *more: str, **fields: Any) -> JsonObject:
    return {"kind": "command", "off": [off, *more], **fields}


def answered(order: int) -> Callable[[RelayReport], bool]:
    return lambda report: report.sent is not None and report.order == order


def alive_with(mark: str) -> list[str]:
    """The living processes (no zombies) that carry a mark in their arguments."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            try:
                arguments = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if mark in arguments:
                found.append(arguments)
    return found


def test_exit_status_0_means_sent_and_nothing_more(tmp_path: Path, drive: Drive, reports: Any) -> None:
    driver = drive(command(script(tmp_path, "off", f"echo cut >> {tmp_path}/done")))
    driver.off(7)
    report = reports.wait(answered(7))
    assert report.sent is True
    assert report.why == ""
    assert report.state is None
    assert (tmp_path / "done").read_text() == "cut\n"
    assert all(one.state is None and one.reachable is None for one in reports.all)


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("exit 1", "exit status 1"),
        ("echo no such line >&2; exit 3", "exit status 3: 'no such line'"),
        ("kill -9 $$", "killed by signal 9"),
        ("sleep 60", "over its time limit of 0.4 s, killed"),
    ],
)
def test_a_failure_says_what_happened(tmp_path: Path, drive: Drive, reports: Any, body: str, why: str) -> None:
    driver = drive(command(script(tmp_path, "off", body), time_limit_s=0.4))
    driver.off(1)
    report = reports.wait(answered(1))
    assert (report.sent, report.why) == (False, why)


def test_a_program_that_is_not_there_is_named(drive: Drive, reports: Any, tmp_path: Path) -> None:
    drive(command(str(tmp_path / "missing"))).off(1)
    report = reports.wait(answered(1))
    assert report.sent is False
    assert report.why.startswith(f"not found: {tmp_path}/missing")


def test_a_missing_interpreter_is_not_found_either(drive: Drive, reports: Any, tmp_path: Path) -> None:
    drive(command(script(tmp_path, "off", "", first="#!/nowhere/sh"))).off(1)
    assert reports.wait(answered(1)).why.startswith("not found: ")


def test_a_file_without_permission_is_not_executable(drive: Drive, reports: Any, tmp_path: Path) -> None:
    path = Path(script(tmp_path, "off", "exit 0"))
    path.chmod(stat.S_IRUSR)
    drive(command(str(path))).off(1)
    report = reports.wait(answered(1))
    assert (report.sent, report.why) == (False, f"not executable: {path}")


def test_a_file_that_is_no_program_cannot_start(drive: Drive, reports: Any, tmp_path: Path) -> None:
    path = tmp_path / "off"
    path.write_bytes(b"\x00\x01\x02 no program")
    path.chmod(0o755)
    drive(command(str(path))).off(1)
    assert reports.wait(answered(1)).why == f"cannot start {path}: Exec format error"


def test_no_child_is_left_when_a_program_hangs(tmp_path: Path, drive: Drive, reports: Any, eventually: Callable[..., None]) -> None:
    mark = f"86399.{os.getpid()}{time.monotonic_ns()}"
    driver = drive(command(script(tmp_path, "off", f"sleep {mark} & sleep {mark} & (sleep {mark} &) ; sleep {mark}"), time_limit_s=0.5))
    driver.off(1)
    started = time.monotonic_ns()
    assert reports.wait(answered(1)).why.startswith("over its time limit")
    assert (time.monotonic_ns() - started) / 1e9 < 1.5
    eventually(lambda: alive_with(mark) == [], within_s=0.5)


def test_no_child_is_left_when_a_program_ends_before_its_children(
    tmp_path: Path, drive: Drive, reports: Any, eventually: Callable[..., None]
) -> None:
    mark = f"86398.{os.getpid()}{time.monotonic_ns()}"
    driver = drive(command(script(tmp_path, "off", f"sleep {mark} & exit 0")))
    driver.off(1)
    started = time.monotonic_ns()
    assert reports.wait(answered(1)).sent is True
    assert (time.monotonic_ns() - started) / 1e9 < 1.0, "a child that holds the output open must not be waited for"
    eventually(lambda: alive_with(mark) == [])


def test_endless_output_neither_fills_memory_nor_outlives_the_limit(tmp_path: Path, drive: Drive, reports: Any) -> None:
    before_kib = rss_kib()
    driver = drive(command(script(tmp_path, "off", "exec yes a-long-line-without-meaning"), time_limit_s=0.5))
    driver.off(1)
    assert reports.wait(answered(1)).why.startswith("over its time limit")
    assert rss_kib() - before_kib < 8192


def rss_kib() -> int:
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0])


def test_much_output_does_not_stop_a_program_that_ends_well(tmp_path: Path, drive: Drive, reports: Any) -> None:
    drive(command(script(tmp_path, "off", "head -c 5000000 /dev/zero; head -c 5000000 /dev/zero >&2"))).off(1)
    assert reports.wait(answered(1)).sent is True


def test_the_environment_is_small_and_the_input_closed(tmp_path: Path, drive: Drive, reports: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CANARY_SECRET", "do not hand on")
    body = f'env > {tmp_path}/env; cat > {tmp_path}/input; pwd > {tmp_path}/pwd; echo "$#" > {tmp_path}/count'
    drive(command(script(tmp_path, "off", body), "--relay", "$(touch /tmp/x); 3")).off(5)
    assert reports.wait(answered(5)).sent is True
    names = {line.partition("=")[0] for line in (tmp_path / "env").read_text().splitlines()}
    assert names - {"PWD", "_", "SHLVL", "OLDPWD"} == {"PATH", "LANG", "HEATWARDEN_RELAY", "HEATWARDEN_ORDER"}
    assert "HEATWARDEN_RELAY=anvil-plug\n" in (tmp_path / "env").read_text()
    assert "HEATWARDEN_ORDER=off\n" in (tmp_path / "env").read_text()
    assert (tmp_path / "input").read_bytes() == b""
    assert (tmp_path / "pwd").read_text() == "/\n"
    assert (tmp_path / "count").read_text() == "2\n"


def test_arguments_reach_the_program_as_they_stand_and_no_shell_reads_them(tmp_path: Path, drive: Drive, reports: Any) -> None:
    words = ["a b", "$(touch x)", "; reboot", "{relay}", "%s", "*", "'", '"']
    drive(command(script(tmp_path, "off", f'for w in "$@"; do printf "%s\\n" "$w"; done > {tmp_path}/words'), *words)).off(1)
    reports.wait(answered(1))
    assert (tmp_path / "words").read_text().splitlines() == words


def test_asking_proves_reach_and_echoes_the_state(tmp_path: Path, drive: Drive, reports: Any) -> None:
    state = tmp_path / "state"
    state.write_text("on\n")
    off = script(tmp_path, "off", f"echo off > {state}")
    drive(command(off, ask=["cat", str(state)]))
    first = reports.wait(lambda report: report.state is not None)
    assert (first.reachable, first.state) == (True, "on")
    driver = drive(command(off, ask=["cat", str(state)]), name="second")
    driver.off(3)
    sent = reports.wait(lambda report: report.relay == "second" and report.sent is True)
    echo = reports.wait(lambda report: report.relay == "second" and report.state == "off")
    assert echo.at >= sent.at
    assert reports.all.index(echo) > reports.all.index(sent)


def test_after_an_off_that_did_nothing_it_keeps_asking(tmp_path: Path, drive: Drive, reports: Any) -> None:
    driver = drive(command(script(tmp_path, "off", "exit 0"), ask=["echo", "on"], ask_every_s=3600))
    driver.off(1)
    reports.wait(answered(1))
    since = len(reports.all)
    reports.wait(lambda report: report.state == "on", since=since)
    reports.wait(lambda report: report.state == "on", since=since + 1, within_s=3)


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("exit 4", "asking failed: exit status 4"),
        ("echo maybe", "asking printed 'maybe'; its first line must be on or off"),
        ("echo OFF", "asking printed 'OFF'; its first line must be on or off"),
        ("exit 0", "asking printed ''; its first line must be on or off"),
        ("echo off; sleep 60", "asking failed: over its time limit of 0.4 s, killed"),
    ],
)
def test_an_unclear_answer_is_no_state_and_no_reach(tmp_path: Path, drive: Drive, reports: Any, body: str, why: str) -> None:
    drive(command("/bin/true", ask=[script(tmp_path, "ask", body)], time_limit_s=0.4))
    report = reports.wait(lambda report: report.reachable is not None)
    assert (report.reachable, report.state, report.why) == (False, None, why)


def test_off_stops_an_ask_that_hangs(tmp_path: Path, drive: Drive, reports: Any, eventually: Callable[..., None]) -> None:
    mark = f"86397.{os.getpid()}{time.monotonic_ns()}"
    ask = script(tmp_path, "ask", f"touch {tmp_path}/asking; sleep {mark}")
    driver = drive(command("/bin/true", ask=[ask], time_limit_s=20))
    eventually((tmp_path / "asking").exists)
    started = time.monotonic_ns()
    driver.off(1)
    handed_over = time.monotonic_ns()
    assert reports.wait(answered(1)).sent is True
    assert (handed_over - started) / 1e9 < 0.05
    assert (time.monotonic_ns() - started) / 1e9 < 1.0
    assert not any(report.reachable is False for report in reports.all), "a stopped ask says nothing about the relay"


def test_orders_that_pile_up_behind_a_slow_program_are_all_answered(tmp_path: Path, drive: Drive, reports: Any) -> None:
    driver = drive(command(script(tmp_path, "off", f"echo x >> {tmp_path}/runs; sleep 0.3"), time_limit_s=5))
    for order in range(1, 31):
        driver.off(order)
    for order in range(1, 31):
        assert reports.wait(answered(order)).sent is True
    assert len((tmp_path / "runs").read_text().split()) <= 3


def test_an_exception_in_the_report_loses_no_other_report(links: Links, reports: Any) -> None:
    def fussy(report: RelayReport) -> None:
        if report.order == 1:
            raise RuntimeError("broken sink")
        reports(report)

    now = lambda: time.monotonic_ns() / 1e9  # noqa: E731 - as short as it can be
    driver = build("anvil-plug", command("/bin/true"), now=now, report=fussy, links=links)
    assert isinstance(driver, CommandDriver)
    driver.start()
    for order in (1, 2, 3):
        driver.off(order)
    assert reports.wait(answered(3)).sent is True
    driver.stop()
    assert driver.errors == 1


def test_a_program_that_goes_missing_is_known_before_it_is_needed(tmp_path: Path, drive: Drive, reports: Any) -> None:
    path = Path(script(tmp_path, "off", "exit 0"))
    drive(command(str(path), ask_every_s=0.05))
    path.chmod(0o600)
    gone = reports.wait(lambda report: report.reachable is False)
    assert gone.why == f"not found or not executable: {path}"
    path.chmod(0o755)
    reports.wait(lambda report: report.reachable is True)
    assert len(reports.all) == 2, "said when it changes only"


def test_a_driver_that_has_stopped_fails_an_order_instead_of_losing_it(drive: Drive, reports: Any) -> None:
    driver = drive(command("/bin/true"))
    driver.stop()
    driver.off(4)
    report = reports.wait(answered(4))
    assert (report.sent, report.why) == (False, "the driver is not running")


def test_stopping_ends_the_thread_and_an_ask_under_way(tmp_path: Path, drive: Drive, eventually: Callable[..., None]) -> None:
    mark = f"86396.{os.getpid()}{time.monotonic_ns()}"
    driver = drive(command("/bin/true", ask=[script(tmp_path, "ask", f"touch {tmp_path}/asking; sleep {mark}")], time_limit_s=20))
    eventually((tmp_path / "asking").exists)
    started = time.monotonic_ns()
    driver.stop()
    assert (time.monotonic_ns() - started) / 1e9 < 1.0
    eventually(lambda: alive_with(mark) == [], within_s=0.5)


def test_a_program_that_ignores_sigterm_is_killed_all_the_same(tmp_path: Path, drive: Drive, reports: Any) -> None:
    trap = f"trap '' {signal.SIGTERM.value} {signal.SIGINT.value} {signal.SIGHUP.value}; while :; do :; done"
    drive(command(script(tmp_path, "off", trap), time_limit_s=0.3)).off(1)
    assert reports.wait(answered(1), within_s=2).sent is False
