"""Somebody else begins to publish on a printer's topic: plausible values, at the usual rate."""

import threading
from contextlib import ExitStack
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.figures import figure
from rig.site import SiteTable, simple
from rig.workshop import Workshop, seconds

pytestmark = pytest.mark.rig

FIRST_WINDOW_S = 16.0
"""The usual rate of a source is known after a window of 15 s."""


def begin_early(stack: ExitStack, folder: Path, *, full: bool) -> tuple[Workshop, float]:
    """One publisher at first; the second one joins when the rate of the first is known."""
    del full
    broker = stack.enter_context(MosquittoBroker(folder))
    shop = stack.enter_context(Workshop(folder, SiteTable(printers=(simple("anvil"),)), broker)).begin()
    second = threading.Timer(FIRST_WINDOW_S, lambda: shop.printer("anvil", temperature_c=58.0))
    second.start()
    stack.callback(second.cancel)
    return shop, seconds() + FIRST_WINDOW_S


def test_a_second_publisher_on_the_topic_is_told_of(story: tuple[Workshop, float]) -> None:
    """Row F16: readings come twice as often as before."""
    shop, joined_at = story
    event = shop.event("second publisher", "anvil", within_s=FIRST_WINDOW_S + 35.0)
    assert event.numbers["times"] > 1.7
    assert shop.loud("is somebody else publishing on its topic?").level == "warning"
    figure("F16 second publisher joins to told (windows of 15 s)", event.at.engine_s - joined_at)
    assert shop.trips("anvil") == []
    assert shop.state("anvil") == "protected"
