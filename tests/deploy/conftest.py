"""What is built and installed for the tests of an installation. Both need a package registry."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from rig.containerfile import commands, copy_in, stages
from rig.units import DEPLOY

TOP = DEPLOY.parent


@pytest.fixture(scope="session")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of what git knows, with a history of its own."""
    source = tmp_path_factory.mktemp("source")
    names = subprocess.run(["git", "ls-files", "-z"], cwd=TOP, check=True, capture_output=True, text=True).stdout.split("\0")
    for name in filter(None, names):
        if (TOP / name).exists():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(TOP / name, source / name)
    author = ("-c", "user.name=nobody", "-c", "user.email=nobody@localhost")
    for words in (("init", "-q"), ("add", "-A", "-f"), (*author, "commit", "-q", "-m", "as it is")):
        subprocess.run(["git", *words], cwd=source, check=True, capture_output=True)
    return source


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory, source: Path) -> Path:
    """A directory with the wheel and the source archive."""
    target = tmp_path_factory.mktemp("built")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--outdir", str(target), str(source)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return target


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment made by the very commands of the Containerfile, elsewhere."""
    folder = tmp_path_factory.mktemp("image")
    (folder / "source").mkdir()
    build = stages(DEPLOY / "Containerfile")[0]
    copy_in(build, TOP, folder / "source")
    for command in commands(build, {"/opt/heatwarden": str(folder / "heatwarden"), "python": sys.executable}):
        done = subprocess.run(["/bin/sh", "-ec", command], cwd=folder / "source", capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
    return folder / "heatwarden"
