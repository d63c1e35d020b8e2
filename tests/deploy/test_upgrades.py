"""The page on upgrades: what it has systemd and apt ask holds back exactly while something heats or nobody knows."""

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.how_to import page
from rig.site import SiteTable, simple
from rig.units import need
from rig.workshop import Workshop, until

PAGE = page("upgrades.md")
PROGRAM = "/opt/heatwarden/bin/heatwarden"
DROP_INS = ("apt-daily-upgrade.service.d/heatwarden.conf", "apt-daily-upgrade.service.d/heatwarden-unless-silent.conf")
HOOK = "/etc/apt/apt.conf.d/90heatwarden"

BUSY, SILENT = 1, 69


@pytest.mark.parametrize("name", DROP_INS)
def test_the_service_manager_understands_the_drop_in(name: str, tmp_path: Path) -> None:
    """It would skip the run for an exit code from 1 to 254."""
    unit = tmp_path / "upgrade.service"
    unit.write_text("[Service]\nType=oneshot\nExecStart=/bin/true\n" + PAGE.file(name).text.replace(PROGRAM, sys.executable))
    done = subprocess.run([need("systemd-analyze"), "verify", "--man=no", str(unit)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_apt_understands_the_hook(tmp_path: Path) -> None:
    (tmp_path / "hook").write_text(PAGE.file(HOOK).text)
    done = subprocess.run(
        [need("apt-config", "apt"), "-c", str(tmp_path / "hook"), "dump", "--format", "%f %v%n", "DPkg::Pre-Invoke"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert f"DPkg::Pre-Invoke:: test ${{UPGRADE_ANYWAY:-no}} = yes || {PROGRAM} status --idle" in done.stdout.splitlines()


def commands() -> dict[str, str]:
    """What is asked, as a shell would run it."""
    found = {}
    for name in DROP_INS:
        (line,) = re.findall(r"^ExecCondition=(.*)$", PAGE.file(name).text, re.MULTILINE)
        words = shlex.split(line)
        found[name] = words[2] if words[:2] == ["/bin/sh", "-c"] else line
    (hook,) = re.findall(r'^DPkg::Pre-Invoke \{ "(.*)"; \};$', PAGE.file(HOOK).text, re.MULTILINE)
    return found | {HOOK: hook}


Ask = Callable[..., int]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with MosquittoBroker(tmp_path) as broker, Workshop(tmp_path, SiteTable(printers=(simple("anvil"),)), broker) as shop:
        yield shop


@pytest.fixture
def ask(shop: Workshop) -> Ask:
    """Run one of the commands against this workshop's guard; its exit code."""
    program = f"{sys.executable} -m watchdog.cli.main"
    where = {"HEATWARDEN_CONFIG": str(shop.guard.config), "STATE_DIRECTORY": str(shop.guard.state)}

    def asked(name: str, **more: str) -> int:
        command = commands()[name].replace(PROGRAM, program)
        return subprocess.run(["/bin/sh", "-c", command], env=os.environ | where | more, check=False, capture_output=True).returncode

    return asked


@pytest.mark.rig
def test_upgrades_wait_while_something_heats_and_while_nobody_knows(shop: Workshop, ask: Ask) -> None:
    assert {name: ask(name) for name in commands()} == {DROP_INS[0]: SILENT, DROP_INS[1]: 0, HOOK: SILENT}
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    shop.printers["anvil"].target_c = 60.0
    until(lambda: shop.heater("anvil")["target_c"] == 60.0)
    assert {name: ask(name) for name in commands()} == {DROP_INS[0]: BUSY, DROP_INS[1]: BUSY, HOOK: BUSY}
    assert ask(HOOK, UPGRADE_ANYWAY="yes") == 0
    shop.printers["anvil"].target_c = 0.0
    until(lambda: shop.heater("anvil")["target_c"] == 0.0)
    assert {name: ask(name) for name in commands()} == dict.fromkeys(commands(), 0)
