"""The two systemd units: sound, and shut in as far as the service manager's own judge can see."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from rig import units
from rig.units import DEPLOY, FRONT, GUARD, UNITS, need, settings, value

MOST_EXPOSED = 2.0
PROGRAM = "/opt/heatwarden/bin/heatwarden"


@pytest.mark.parametrize("unit", UNITS)
def test_the_judge_of_the_service_manager_finds_little_exposed(unit: str) -> None:
    command = [need("systemd-analyze"), "security", "--offline=true", "--no-pager", str(DEPLOY / "systemd" / unit)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    (score,) = re.findall(r"Overall exposure level for \S+: ([\d.]+)", done.stdout)
    assert float(score) <= MOST_EXPOSED


@pytest.mark.parametrize("unit", UNITS)
def test_the_service_manager_understands_every_line(unit: str, tmp_path: Path) -> None:
    for other in UNITS:
        content = units.text(other)
        assert f"ExecStart={PROGRAM} " in content
        (tmp_path / other).write_text(content.replace(PROGRAM, sys.executable), encoding="utf-8")
    done = subprocess.run(
        [need("systemd-analyze"), "verify", "--man=no", str(tmp_path / unit)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("unit", UNITS)
def test_whoever_ends_is_started_again_however_often(unit: str) -> None:
    """Row F44: by default the service manager gives up after five starts."""
    assert value(unit, "Restart") == "always"
    assert value(unit, "StartLimitIntervalSec") == "0"
    assert float(value(unit, "RestartSec")) <= 2.0
    assert "RestartPreventExitStatus" not in settings(unit)


def test_a_stuck_guard_is_aborted_fifteen_seconds_after_its_last_turn_at_the_latest() -> None:
    """Row F45: the last ping goes out a quarter of the interval after the last turn at the latest."""
    assert value(GUARD, "Type") == "notify"
    assert value(GUARD, "NotifyAccess") == "main"
    assert value(GUARD, "WatchdogSignal") == "SIGABRT"
    assert 1.25 * float(value(GUARD, "WatchdogSec")) <= 15.0


def test_the_front_goes_first_when_memory_runs_out_and_has_a_bound_of_its_own() -> None:
    """Row F48."""
    assert int(value(GUARD, "OOMScoreAdjust")) == -900
    assert int(value(FRONT, "OOMScoreAdjust")) > 0
    assert "MemoryMax" in settings(FRONT)
    assert "MemoryMax" not in settings(GUARD)
    assert int(value(GUARD, "CPUWeight")) > int(value(FRONT, "CPUWeight"))


def test_the_front_reads_what_the_groups_may_and_writes_nothing() -> None:
    guard, front = settings(GUARD), settings(FRONT)
    assert guard["User"] != front["User"]
    assert front["SupplementaryGroups"] == guard["Group"]
    assert guard["StateDirectoryMode"] == guard["RuntimeDirectoryMode"] == ["0750"]
    assert guard["UMask"] == ["0027"]
    assert front["ProtectSystem"] == ["strict"]
    assert not {"StateDirectory", "RuntimeDirectory", "CacheDirectory", "LogsDirectory", "ReadWritePaths"} & front.keys()
    assert sorted(front["Environment"]) == ["RUNTIME_DIRECTORY=/run/heatwarden", "STATE_DIRECTORY=/var/lib/heatwarden"]


def test_the_front_needs_no_guard_to_say_that_there_is_none() -> None:
    assert not {"Requires", "BindsTo", "PartOf", "Requisite"} & settings(FRONT).keys()


@pytest.mark.parametrize("unit", UNITS)
def test_no_secret_reaches_a_core_dump_or_a_command_line(unit: str) -> None:
    """Threat S16."""
    assert value(unit, "LimitCORE") == "0"
    assert re.search(r"^#LoadCredential=\S+:/\S+$", units.text(unit), re.MULTILINE)
    assert not re.search(r"password|token|secret", value(unit, "ExecStart"))


def test_both_users_are_made_by_the_service_manager(tmp_path: Path) -> None:
    """In a root directory of the test's own."""
    need("systemd-sysusers")
    folder = tmp_path / "usr" / "lib" / "sysusers.d"
    folder.mkdir(parents=True)
    (tmp_path / "etc").mkdir()
    shutil.copy(DEPLOY / "sysusers.d" / "heatwarden.conf", folder)
    subprocess.run(["systemd-sysusers", f"--root={tmp_path}"], check=True, capture_output=True)
    users = {line.split(":")[0] for line in (tmp_path / "etc" / "passwd").read_text(encoding="utf-8").splitlines()}
    groups = {line.split(":")[0] for line in (tmp_path / "etc" / "group").read_text(encoding="utf-8").splitlines()}
    needed = {value(unit, key) for unit in UNITS for key in ("User", "Group")}
    assert users == groups == needed
