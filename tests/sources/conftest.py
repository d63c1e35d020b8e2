import time
from collections import deque
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from rig.broker import MosquittoBroker

from watchdog.core.inputs import Reading, RelayReport, SourceReport, Unusable
from watchdog.settings.addresses import Broker
from watchdog.sources.mqtt import MqttSource, Subscription
from watchdog.wire.feed import Feed

now = time.monotonic  # noqa: TID251 - the tests run in real time


class Heard:
    """A sink that keeps what it is given, bounded as the guard's is."""

    def __init__(self) -> None:
        self.readings: deque[Reading] = deque(maxlen=1000)
        self.unusable: deque[Unusable] = deque(maxlen=1000)
        self.links: list[SourceReport] = []
        self.notes: list[str] = []
        self.before: Callable[[Reading | Unusable], None] = lambda _: None

    def reading(self, reading: Reading | Unusable) -> None:
        self.before(reading)
        if isinstance(reading, Reading):
            self.readings.append(reading)
        else:
            self.unusable.append(reading)

    def report(self, report: RelayReport | SourceReport) -> None:
        assert isinstance(report, SourceReport)
        self.links.append(report)

    def note(self, level: str, text: str) -> None:
        self.notes.append(f"{level}: {text}")

    def linked(self) -> bool:
        """What the newest report of a link says."""
        told = [link.connected for link in self.links if link.connected is not None]
        return bool(told and told[-1])

    def whys(self) -> str:
        return " | ".join(link.why for link in self.links)

    def temperatures(self) -> list[float | None]:
        return [reading.temperature_c for reading in self.readings]


class Sources:
    """Makes sources that are stopped at the end of the test."""

    def __init__(self) -> None:
        self.made: list[MqttSource] = []

    def __call__(
        self, heard: Heard, port: int, *subscriptions: Subscription, protocol: str = "5", broker: Broker | None = None, **options: Any
    ) -> MqttSource:
        where = broker or Broker(host="127.0.0.1", port=port, protocol="5" if protocol == "5" else "3.1.1", keepalive_s=5)
        source = MqttSource("home", where, subscriptions, heard, now, heard.note, **options)
        self.made.append(source)
        source.start()
        return source


def bed(printer: str = "anvil", heater: str = "bed", topic: str = "", **options: Any) -> Subscription:
    """A feed on the topic millbrook/PRINTER/HEATER, unless another one is given."""
    feed = Feed(topic=topic or f"millbrook/{printer}/{heater}", **options)
    return Subscription(printer=printer, heater=heater, source=printer, feed=feed)


@pytest.fixture
def heard() -> Heard:
    return Heard()


@pytest.fixture
def subscription() -> Callable[..., Subscription]:
    return bed


@pytest.fixture
def hear() -> Iterator[Sources]:
    sources = Sources()
    yield sources
    for source in sources.made:
        assert source.stop(), "the network thread did not end"
        assert not source.alive()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    with MosquittoBroker(tmp_path) as running:
        yield running
