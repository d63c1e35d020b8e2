"""The commands of the how-to pages, typed line by line: a real broker, plugs, printers and a guard, and what the pages say comes of it."""

import subprocess
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from rig.broker import MosquittoBroker, publisher, say
from rig.guard import Guard
from rig.how_to import Bench, Page, Shell, follow, page
from rig.plug import Habits, Plug
from rig.printer import Printer
from rig.workshop import until

pytestmark = pytest.mark.rig

MQTT_PLUG = page("mqtt-plug.md")
PASSWORDS = {"heatwarden": "a word for the guard", "bramble": "b", "bramble-plug": "p", "bench": "word-for-the-bench"}
EVERYBODY = "".join(f"user {user}\ntopic readwrite #\n" for user in PASSWORDS)


class Room:
    """A broker with users, and what a page needs around its guard. Everything ends with it."""

    def __init__(self, shown: Page, folder: Path, access: str) -> None:
        (folder / "broker").mkdir()
        (folder / "broker" / "acl").write_text(access)
        (folder / "broker" / "passwords").touch()
        for user, password in PASSWORDS.items():
            line = ["mosquitto_passwd", "-b", f"{folder}/broker/passwords", user, password]
            subprocess.run(line, check=True, capture_output=True)
        lines = f"allow_anonymous false\npassword_file {folder}/broker/passwords\nacl_file {folder}/broker/acl\n"
        self.stack = ExitStack()
        self.broker = self.stack.enter_context(MosquittoBroker(folder / "broker", lines))
        self.bench = Bench(shown, folder / "bench", self.broker.port)
        self.guard = Guard(self.bench.config, self.bench.state)
        self.shell = self.stack.enter_context(Shell(self.bench))

    def plug(self, printer: str, user: str) -> Plug:
        topic = f"millbrook/plugs/{printer}"
        topics: dict[str, Any] = {f"{part}_topic": f"{topic}/{name}" for part, name in (("order", "order"), ("echo", "report"))}
        topics |= {"meter_topic": f"{topic}/power", "presence_topic": f"{topic}/presence"}
        habits = Habits(port=self.broker.port, **topics, user=user, password=PASSWORDS[user])
        return self.stack.enter_context(Plug(habits))

    def printer(self, name: str, user: str, plug: Plug) -> Printer:
        """Cold and idle, and silent while its plug is open."""
        board = Printer(self.broker.port, f"millbrook/{name}/bed", temperature_c=24.0, target_c=0.0)
        board.client.username_pw_set(user, PASSWORDS[user])
        board.powered = lambda: plug.on
        return self.stack.enter_context(board)

    def begin_guard(self, printer: str) -> None:
        """Until the printer is protected and the record is open."""
        self.stack.enter_context(self.guard.start())
        until(lambda: self.guard.status_if_any() and self.guard.printer(printer)["state"] == "protected", 15)
        until(lambda: self.guard.status()["guard"]["record"]["ok"], 15)


@pytest.fixture
def rooms(tmp_path: Path) -> Iterator[Any]:
    made: list[Room] = []

    def room(shown: Page, access: str = EVERYBODY) -> Room:
        made.append(Room(shown, tmp_path, access))
        return made[-1]

    yield room
    for one in made:
        one.stack.close()


def test_a_plug_that_speaks_mqtt(rooms: Any) -> None:
    room = rooms(MQTT_PLUG, MQTT_PLUG.file("acl").text)
    plug = room.plug("bramble", "bramble-plug")
    room.printer("bramble", "bramble", plug)
    assert follow(MQTT_PLUG, room.shell, lambda: room.begin_guard("bramble")) == MQTT_PLUG.text.count("```sh") - 1 > 5
    assert [entry.on for entry in plug.truth] == [True, False, True, False, True, False, True]


def test_a_second_sensor_on_the_bed(rooms: Any) -> None:
    shown = page("independent-sensor.md")
    room = rooms(shown)
    plug = room.plug("anvil", "bench")
    room.printer("anvil", "bench", plug)
    room.begin_guard("anvil")
    assert follow(shown, room.shell, lambda: None) == 1
    assert not plug.on


def test_several_printers_on_one_plug(rooms: Any) -> None:
    shown = page("shared-plug.md")
    assert follow(shown, rooms(shown).shell, lambda: None) == 1


def test_a_source_that_speaks_only_on_change(rooms: Any) -> None:
    shown = page("on-change.md")
    room = rooms(shown)
    ended = threading.Event()

    def beat() -> None:
        with publisher(room.broker.port, user="bench", password=PASSWORDS["bench"]) as board:
            say(board, "millbrook/cinder/presence", "here", retain=True)
            while not ended.wait(0.1):
                say(board, "millbrook/cinder/presence", "here")

    beats = threading.Thread(target=beat)
    beats.start()
    try:
        assert follow(shown, room.shell, lambda: None) == 1
    finally:
        ended.set()
        beats.join()
