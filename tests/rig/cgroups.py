"""Control groups of this machine, where a test may make one."""

import os
from pathlib import Path

import pytest

TOP = Path("/sys/fs/cgroup")


def cgroup(controller: str) -> Path:
    """A new group of a version 1 controller (cpu, memory) for this test; its maker removes it."""
    group = TOP / controller / f"heatwarden-test-{os.getpid()}"
    try:
        group.mkdir()
    except OSError as error:
        pytest.skip(f"no control group can be made under {TOP / controller}: {error.strerror}; root on a version 1 hierarchy can")
    return group
