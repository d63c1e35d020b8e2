"""A real broker, a place where reports gather, and drivers that are stopped at the end."""

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Self

import pytest
from rig.broker import MosquittoBroker, wait_for

from watchdog.core.inputs import RelayReport
from watchdog.core.values import JsonObject
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build

WITHIN_S = 8.0


def seconds() -> float:
    return time.monotonic_ns() / 1e9


class Reports:
    """All reports in the order of their coming, from any thread."""

    def __init__(self) -> None:
        self.all: list[RelayReport] = []
        self._more = threading.Condition()

    def __call__(self, report: RelayReport) -> None:
        with self._more:
            self.all.append(report)
            self._more.notify_all()

    def wait(self, wanted: Callable[[RelayReport], bool], within_s: float = WITHIN_S, since: int = 0) -> RelayReport:
        """The first report that is wanted, from the one with number `since` on."""
        until = seconds() + within_s
        with self._more:
            while True:
                for report in self.all[since:]:
                    if wanted(report):
                        return report
                if not self._more.wait(until - seconds()) and seconds() >= until:
                    raise AssertionError(f"not reported within {within_s:g} s; reported was {self.all}")


class Mosquitto(MosquittoBroker):
    """The shared broker, with the plain address of it as a driver wants it."""

    def start(self, *settings: str) -> Self:
        if settings:
            self.configure("\n".join(settings) + "\n")
        return super().start()

    def address(self, **more: Any) -> JsonObject:
        return {"host": "127.0.0.1", "port": self.port, **more}


def eventually(true: Callable[[], bool], within_s: float = WITHIN_S) -> None:
    assert wait_for(true, within_s), f"did not happen within {within_s:g} s"


@pytest.fixture(name="eventually")
def eventually_fixture() -> Callable[..., None]:
    return eventually


@pytest.fixture
def reports() -> Reports:
    return Reports()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path)
    yield broker
    broker.stop()


@pytest.fixture
def links() -> Links:
    return Links(seconds)


@pytest.fixture
def drive(reports: Reports, links: Links) -> Iterator[Callable[..., Driver]]:
    """Build a driver from its plain address and start it."""
    drivers: list[Driver] = []

    def make(address: JsonObject, name: str = "anvil-plug") -> Driver:
        driver = build(name, address, now=seconds, report=reports, links=links)
        drivers.append(driver)
        driver.start()
        return driver

    yield make
    for driver in drivers:
        driver.stop()
    assert links.all() == []
