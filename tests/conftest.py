"""Rules for all tests: a full run on demand, one seed for everything, no long sleeps outside of the rig."""

import random
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, core, settings
from rig import figures

LONGEST_SLEEP_S = 0.25

real_sleep = time.sleep  # noqa: TID251 - kept, to be put back for the rig

settings.register_profile(
    "sample", max_examples=15, deadline=None, print_blob=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("full", parent=settings.get_profile("sample"), max_examples=600)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run the full counts instead of a seeded sample")


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("full" if config.getoption("--long") else "sample")
    seed = config.getoption("randomly_seed", None)
    if config.getoption("hypothesis_seed", None) is None and isinstance(seed, int):
        vars(core)["global_force_seed"] = seed  # one seed, told in the header, repeats a whole run


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without --long what is marked so is left out, unless it was named."""
    if config.getoption("--long") or any("::" in word for word in config.args):
        return
    left_out = [item for item in items if item.get_closest_marker("long") is not None]
    items[:] = [item for item in items if item.get_closest_marker("long") is None]
    config.hook.pytest_deselected(items=left_out)


@pytest.fixture
def long_count(request: pytest.FixtureRequest) -> Callable[[int, int], int]:
    """How many cases to run: `long_count(sample, full)`, the full number under --long."""
    return lambda sample, full: full if request.config.getoption("--long") else sample


@pytest.fixture
def dice(request: pytest.FixtureRequest) -> random.Random:
    """Chance that repeats with `-p randomly -p "randomly_seed=..."`, and differs from test to test."""
    return random.Random(f"{request.config.getoption('randomly_seed', 0)} {request.node.nodeid}")


@pytest.fixture(autouse=True)
def _no_long_sleeps(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.node.get_closest_marker("rig") is not None:
        return

    def sleep(seconds: float) -> None:
        if seconds > LONGEST_SLEEP_S and threading.current_thread() is threading.main_thread():  # threads of libraries may
            raise AssertionError(f"a sleep of {seconds} s in a test: wait for what must happen, or mark it `rig`")
        real_sleep(seconds)

    monkeypatch.setattr(time, "sleep", sleep)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker hands over what it measured."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["figures"] = figures.FOUND


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    for row, values in getattr(node, "workeroutput", {}).get("figures", {}).items():
        figures.figure(row, *values)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    lines = figures.lines()
    if lines:
        terminalreporter.section("fault rows: what was measured, in seconds unless a row says otherwise")
        for line in lines:
            terminalreporter.write_line(line)
