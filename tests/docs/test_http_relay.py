"""The page on plugs with an HTTP interface, typed line by line: a real HTTP server that switches, a real broker, a printer, and a guard."""

import re
import shutil
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from rig.broker import MosquittoBroker
from rig.guard import Guard
from rig.how_to import Bench, Shell, alike, page
from rig.http_plug import HttpHabits, HttpPlug
from rig.printer import Printer
from rig.workshop import until

from watchdog.settings.load import load
from watchdog.settings.protection import protection

pytestmark = pytest.mark.rig

PAGE = page("http-relay.md")
PLACE = "http://192.0.2.40"
WORD = "a word for the guard"
"""As the bench writes it into each file of a secret."""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    with MosquittoBroker(folder) as running:
        yield running


class PlugBench(Bench):
    """With the plug where this test has it."""

    def __init__(self, plug: HttpPlug, place: Path, port: int) -> None:
        self.plug = plug
        super().__init__(PAGE, place, port)

    def here(self, text: str) -> str:
        return super().here(text).replace(PLACE, f"http://127.0.0.1:{self.plug.port}")


def reset_or_order(typed: str) -> bool:
    """After these the page says that its button is to be pressed."""
    return "%{http_code}" in typed or "heatwarden reset" in typed


@pytest.mark.skipif(shutil.which("curl") is None, reason="the page types curl")
def test_every_command_of_the_page_does_what_the_page_says(broker: MosquittoBroker, tmp_path: Path) -> None:
    steps = PAGE.blocks
    ran = 0
    with ExitStack() as stack:
        plug = stack.enter_context(HttpPlug(HttpHabits(word=WORD)))
        bench = PlugBench(plug, tmp_path / "bench", broker.port)
        printer = Printer(broker.port, "millbrook/cinder/bed", temperature_c=24.0, target_c=0.0)
        printer.powered = lambda: plug.on
        stack.enter_context(printer)
        shell = stack.enter_context(Shell(bench))
        guard = Guard(bench.config, bench.state)
        for step, after in zip(steps, [*steps[1:], None], strict=True):
            if step.language != "sh":
                continue
            if step.text == "heatwarden guard\n":
                stack.enter_context(guard.start())
                until(lambda: guard.status_if_any() and guard.printer("cinder")["state"] == "protected", 15)
                continue
            wanted = after.text.splitlines() if after is not None and after.language == "text" else []
            if "NOT REACHABLE" in "".join(wanted):
                plug.stop()
                until(lambda: guard.status()["relays"][0]["reachable"] is False, 15)
            if "heatwarden reset" in step.text:  # its button is pressed while the latch stands
                plug.switch(on=True)
                until(lambda: not plug.on, 12)
            said = shell.run(step.text)
            ran += 1
            missing = [line for line in wanted if not any(alike(told).startswith(alike(line)) for told in said.splitlines())]
            assert missing == [], f"typed:\n{step.text}\nsaid:\n{said}"
            if reset_or_order(step.text):
                plug.switch(on=True)
    assert ran == PAGE.text.count("```sh") - 1 > 5
    assert [entry.on for entry in plug.truth] == [True, False, True, False, True, False, True]


def test_check_says_what_http_leaves_open(tmp_path: Path) -> None:
    settings = load(Bench(PAGE, tmp_path).config).settings
    assert settings is not None
    what = "http without TLS; its secret and all it says cross the network in the clear, and anybody there may answer in its place"
    assert f"cinder-plug: {what}" in protection(settings).printers["cinder"].lacks


def test_the_plug_of_the_page_is_the_one_that_was_tried() -> None:
    """What the page shows of the device is what the device of this test does."""
    plug = HttpPlug()
    try:
        assert plug.told().decode() in PAGE.text
        assert re.search(r'answers `\{"result": "done"\}`', PAGE.text)
    finally:
        plug._server.server_close()
