"""The page on a plug that speaks MQTT, typed line by line: a real broker with its access list, a plug, a printer, and a guard."""

import re
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from rig.broker import MosquittoBroker
from rig.guard import Guard
from rig.how_to import Bench, Shell, alike, page
from rig.plug import Habits, Plug
from rig.printer import Printer
from rig.workshop import until

pytestmark = pytest.mark.rig

PAGE = page("mqtt-plug.md")
PASSWORDS = {"heatwarden": "a word for the guard", "bramble": "b", "bramble-plug": "p", "bench": "word-for-the-bench"}
TOPIC = "millbrook/plugs/bramble"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    (folder / "acl").write_text(PAGE.file("acl").text)
    (folder / "passwords").touch()
    for user, password in PASSWORDS.items():
        subprocess.run(["mosquitto_passwd", "-b", folder / "passwords", user, password], check=True, capture_output=True)
    lines = f"allow_anonymous false\npassword_file {folder / 'passwords'}\nacl_file {folder / 'acl'}\n"
    with MosquittoBroker(folder, lines) as running:
        yield running


def test_every_command_of_the_page_does_what_the_page_says(broker: MosquittoBroker, tmp_path: Path) -> None:
    bench = Bench(PAGE, tmp_path / "bench", broker.port)
    topics: dict[str, Any] = {
        f"{part}_topic": f"{TOPIC}/{name}" for part, name in (("order", "order"), ("echo", "report"), ("meter", "power"))
    }
    habits = Habits(port=broker.port, **topics, presence_topic=f"{TOPIC}/presence", user="bramble-plug", password="p")
    steps = PAGE.blocks
    ran = 0
    with ExitStack() as stack:
        plug = stack.enter_context(Plug(habits))
        printer = Printer(broker.port, "millbrook/bramble/bed", temperature_c=24.0, target_c=0.0)
        printer.client.username_pw_set("bramble", "b")
        printer.powered = lambda: plug.on
        stack.enter_context(printer)
        shell = stack.enter_context(Shell(bench))
        guard = Guard(bench.config, bench.state)
        for step, after in zip(steps, [*steps[1:], None], strict=True):
            if step.language != "sh":
                continue
            if step.text == "heatwarden guard\n":
                stack.enter_context(guard.start())
                until(lambda: guard.status_if_any() and guard.printer("bramble")["state"] == "protected", 15)
                continue
            said = shell.run(step.text)
            ran += 1
            wanted = after.text.splitlines() if after is not None and after.language == "text" else []
            missing = [line for line in wanted if alike(line) not in {alike(told) for told in said.splitlines()}]
            assert missing == [], f"typed:\n{step.text}\nsaid:\n{said}"
            assert not re.search(r"not authorised|refused|Error", said), said
    assert ran == PAGE.text.count("```sh") - 1 > 5
    assert [entry.on for entry in plug.truth] == [True, False, True, False, True, False, True]
