"""A small file system of its own, for the tests that fill it."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    if os.geteuid() != 0:
        pytest.skip("only root may mount the one-megabyte file system that this test fills")
    folder = tmp_path / "small"
    folder.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=False, capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no file system could be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)
