"""Wheel and source archive hold what they must, and what the Containerfile installs works without this checkout."""

import os
import subprocess
import tarfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.guard import Guard
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds, until

pytestmark = pytest.mark.rig

TOP = Path(__file__).parents[2]


def tracked(*places: str) -> set[str]:
    done = subprocess.run(["git", "ls-files", "-z", *places], cwd=TOP, check=True, capture_output=True, text=True)
    return {name for name in done.stdout.split("\0") if name and (TOP / name).exists()}


def test_the_wheel_holds_the_whole_package_its_migrations_and_the_examples(built: Path) -> None:
    (wheel,) = built.glob("heatwarden-*-py3-none-any.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    assert tracked("watchdog") - names == set()
    assert {name for name in names if name.startswith("watchdog/recorder/migrations/versions/0")}
    assert "watchdog/py.typed" in names
    share = {name.split(".data/data/share/heatwarden/")[1] for name in names if ".data/data/" in name}
    assert tracked("config") - share == set()
    assert {f"deploy/systemd/heatwarden-{part}.service" for part in ("guard", "front")} <= share
    assert {"deploy/Containerfile", "deploy/compose.yaml", "deploy/requirements.lock", "deploy/broker/acl"} <= share
    assert not [name for name in names if name.startswith(("tests/", "config/", "build/"))]


def test_the_source_archive_holds_all_that_tests_and_guides_need(built: Path) -> None:
    (archive,) = built.glob("heatwarden-*.tar.gz")
    with tarfile.open(archive) as opened:
        names = {name.partition("/")[2] for name in opened.getnames()}
    assert {name for name in tracked() if not name.startswith(".")} - names == set()


@pytest.fixture
def shop(tmp_path: Path, installed: Path) -> Iterator[Workshop]:
    """A workshop whose guard is the installed one, started as the container starts it."""
    with MosquittoBroker(tmp_path) as broker, Workshop(tmp_path, SiteTable(printers=(simple("anvil"),)), broker) as shop:
        elsewhere = {"PYTHONPATH": "", "PYTHONDONTWRITEBYTECODE": "1"}
        shop.guard = Guard(
            shop.guard.config, shop.guard.state, command=(str(installed / "bin" / "heatwarden"), "run"), environment=elsewhere
        )
        yield shop


@pytest.mark.long
def test_what_the_container_starts_protects_and_says_so(shop: Workshop, installed: Path) -> None:
    shop.begin()
    until(lambda: shop.state("anvil") == "protected")
    health = subprocess.run(
        [installed / "bin" / "heatwarden", "status", "--config", shop.guard.config, "--state", shop.guard.state],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": ""},
    )
    assert health.returncode == 0, health.stdout + health.stderr
    t0 = seconds()
    shop.printers["anvil"].temperature_c = 180.0
    assert shop.off_after_s("anvil-plug", t0) < 3.0
    shop.event("trip", "anvil")  # on record: the migrations are there


@pytest.mark.long
def test_an_installation_brings_examples_that_are_good(installed: Path, tmp_path: Path) -> None:
    environment = os.environ | {"PYTHONPATH": ""}
    for words in (["examples", str(tmp_path / "settings")], ["check", "--config", str(tmp_path / "settings")]):
        done = subprocess.run(
            [installed / "bin" / "heatwarden", *words], cwd=tmp_path, capture_output=True, text=True, check=False, env=environment
        )
        assert done.returncode == 0, done.stdout + done.stderr
        if words[0] == "examples":
            assert str(installed / "share" / "heatwarden" / "deploy") in done.stdout
