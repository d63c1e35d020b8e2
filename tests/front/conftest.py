"""One house for a module."""

from collections.abc import Iterator

import pytest
from rig.house import House, house


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with house(tmp_path_factory.mktemp("house")) as home:
        yield home
