"""Benches for the kill tests."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from rig.broker import MosquittoBroker, publisher
from rig.kill_bench import Bench, Ears


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    with MosquittoBroker(tmp_path_factory.mktemp("broker")) as broker:
        yield broker


@pytest.fixture
def make_bench(broker: MosquittoBroker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], Bench]]:
    """Makes benches, and clears them away."""
    with publisher(broker.port) as voice, publisher(broker.port) as listener, ExitStack() as stack:
        ears = Ears(listener)

        def make() -> Bench:
            folder = tmp_path_factory.mktemp("bench")
            bench = Bench(folder.name, folder, broker.port, voice, ears)
            stack.callback(bench.end)
            return bench

        yield make
