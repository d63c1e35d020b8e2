"""The core compiled to machine code says the same as the plain one, to the last bit, and the guard runs with it."""

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

pytestmark = pytest.mark.rig

TESTS = Path(__file__).parents[1]
SEEDS = ("17",)


@pytest.fixture(scope="session")
def compiled(tmp_path_factory: pytest.TempPathFactory, source: Path) -> Path:
    """A directory with the package, its core compiled."""
    if shutil.which("cc") is None or not Path(sysconfig.get_paths()["include"], "Python.h").exists():
        pytest.skip("a C compiler or the headers of Python are missing: apt-get install gcc python3-dev")
    wheels, target = tmp_path_factory.mktemp("wheels"), tmp_path_factory.mktemp("compiled")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    wanted = {**os.environ, "HEATWARDEN_COMPILED": "1"}
    for words in (
        [*pip, "wheel", "--no-deps", "--wheel-dir", str(wheels), str(source)],
        [*pip, "install", "--no-deps", "--target", str(target), "--no-index", "--find-links", str(wheels), "heatwarden"],
    ):
        done = subprocess.run(words, capture_output=True, text=True, env=wanted, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
    return target


def said(package: Path) -> list[str]:
    words = [sys.executable, str(TESTS / "verdicts.py"), *SEEDS]
    environment = {**os.environ, "PYTHONPATH": str(package), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(words, capture_output=True, text=True, env=environment, cwd=package, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_the_compiled_core_says_the_same_as_the_plain_one(compiled: Path) -> None:
    plain_file, *plain = said(TESTS.parent)
    machine_file, *machine = said(compiled)
    assert plain_file.endswith("engine.py")
    assert Path(machine_file).is_relative_to(compiled)
    assert not machine_file.endswith(".py")
    assert machine == plain


def test_the_commands_run_with_the_compiled_core(compiled: Path) -> None:
    words = [str(compiled / "bin" / "heatwarden"), "check", "--config", str(TESTS.parent / "config")]
    environment = {**os.environ, "PYTHONPATH": str(compiled)}
    done = subprocess.run(words, capture_output=True, text=True, env=environment, cwd=compiled, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
