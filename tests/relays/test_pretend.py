import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from watchdog.relays.driver import Driver

Drive = Callable[..., Driver]


def test_it_writes_each_command_and_echoes_it(tmp_path: Path, drive: Drive, reports: Any) -> None:
    driver = drive({"kind": "pretend", "file": str(tmp_path / "orders")})
    driver.off(1)
    driver.off(2)
    lines = (tmp_path / "orders").read_text().splitlines()
    assert len(lines) == 2
    assert re.fullmatch(r"\d+\.\d{6} anvil-plug off order 2", lines[1])
    assert [report.reachable for report in reports.all if report.reachable is not None] == [True]
    assert [report.order for report in reports.all if report.sent] == [1, 2]
    assert [report.state for report in reports.all if report.state] == ["off", "off"]


def test_it_says_that_it_cuts_nothing(drive: Drive, reports: Any) -> None:
    drive({"kind": "pretend"}).off(1)
    assert all("cuts nothing" in report.why for report in reports.all)


def test_a_file_that_cannot_be_written_fails_the_command(tmp_path: Path, drive: Drive, reports: Any) -> None:
    drive({"kind": "pretend", "file": str(tmp_path)}).off(1)
    report = reports.all[-1]
    assert report.sent is False
    assert f"cannot write {tmp_path}" in report.why
    assert not any(one.state for one in reports.all)
