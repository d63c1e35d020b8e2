"""Plants drawn from seeds that stay."""

from random import Random

import pytest


@pytest.fixture
def dice(request: pytest.FixtureRequest) -> Random:
    """The same in every run: what one plant in a thousand does is looked for by `tests/held_out.py`, and not by chance."""
    return Random(request.node.nodeid)
