"""What a device or a guest on the network may try: orders by MQTT, hostile texts, and what must never reach a program."""

import ast
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import Any

import orjson
import pytest
from rig.broker import MosquittoBroker, publisher, say
from rig.program import Board
from rig.site import TOPIC, HeaterTable, PrinterTable, ProgramTable, SiteTable, simple
from rig.workshop import Workshop, seconds, until

import watchdog
from watchdog.wire.control import Request

pytestmark = pytest.mark.rig

HOT_C = 180.0
NASTY = (
    "\x1b[2J\x1b]0;owned\x07",
    "\n2026-01-01 CRITICAL forged",
    "\r",
    "\x9b31m",
    "\u202eevil\u2066",
    "\u200b\ufeff",
    "\x00",
    "\U000e0041",
    "$(touch x)",
)
WORDS = ("reset", "RESET", "bypass", "release", "on", "off", "", "here", "gone", "0", "null", "true")
ORDERS: tuple[bytes, ...] = tuple(word.encode() for word in WORDS) + tuple(
    orjson.dumps(order)
    for order in (
        {"ask": "reset", "printer": "anvil", "person": "nobody", "reason": "none", "unread": True, "vouched": True},
        {"reset": "anvil"},
        {"latch": None},
        {"printer": "anvil", "bypass_s": 3600},
        {"temperature_c": 21.0, "target_c": 0, "power_w": 0, "reset": True},
    )
)
LOG_LINE = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3} (INFO|WARNING|CRITICAL|ERROR) .*")


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Board:
    return Board(tmp_path_factory.mktemp("board") / "cinder")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, board: Board) -> Iterator[Workshop]:
    folder = tmp_path_factory.mktemp("threats")
    program = ProgramTable(name="cinder-board", program=board.program)
    site = SiteTable(
        printers=(
            simple("anvil", meter=True, confirm_s=0.0),
            simple("bramble", grace_s=20.0),
            PrinterTable(name="cinder", relays=(program,), heaters=(HeaterTable(confirm_s=0.0),)),
        )
    )
    with MosquittoBroker(folder) as broker, Workshop(folder, site, broker) as shop:
        shop.begin()
        until(lambda: shop.state("anvil") == shop.state("bramble") == "protected")
        yield shop


def known_topics(shop: Workshop) -> list[str]:
    plugs = [plug.topic(part) for plug in shop.site.plugs.values() for part in ("order", "echo", "watts", "presence")]
    readings = [f"{TOPIC}/{printer.name}/bed" for printer in shop.site.printers]
    return plugs + readings


def test_no_message_can_reset_or_bypass_anything(shop: Workshop) -> None:
    """Threat S04: whatever is published on every topic that the guard knows, and on those it might be thought to know."""
    t0 = seconds()
    shop.printers["anvil"].temperature_c = HOT_C
    shop.off_after_s("anvil-plug", t0)
    trip = until(lambda: shop.guard.printer("anvil")["latch"])["trip"]
    guesses = [
        f"heatwarden/{TOPIC}/{rest}" for rest in ("presence", "reset", "printers/anvil", "printers/anvil/reset", "command", "bypass")
    ]
    with publisher(shop.broker.port) as stranger:
        for topic in known_topics(shop) + guesses:
            for order in ORDERS:
                stranger.publish(topic, order, qos=1, retain=topic.endswith(("reset", "order")))
        say(stranger, guesses[1], ORDERS[-1], qos=1)
        for topic in known_topics(shop) + guesses:
            say(stranger, topic, b"", qos=1, retain=True)
    until(lambda: shop.heater("bramble")["age_s"] < 1.0)
    latch = shop.guard.printer("anvil")["latch"]
    assert latch["trip"] == trip
    assert [event.kind for event in shop.events() if event.kind.startswith("reset")] == []
    assert {trip.check for trip in shop.trips("bramble")} <= {"by hand"}
    until(lambda: not shop.plugs["anvil-plug"].on)
    pause = threading.Event()
    pause.wait(1.0)
    assert not shop.plugs["anvil-plug"].on
    assert shop.guard.printer("anvil")["state"] == "tripped"


def test_the_guard_listens_to_the_topics_of_its_settings_and_to_nothing_else(shop: Workshop) -> None:
    """Threat S04: there is no topic on which an order could be given."""
    heard = set()
    client = ""
    for line in shop.broker.log().splitlines():
        said = re.search(r"Received SUBSCRIBE from (\S+)", line)
        client = said.group(1) if said else client
        topic = re.fullmatch(r"\d+: \t(\S+) \(QoS \d\)", line)
        if topic and client.startswith("heatwarden-"):
            heard.add(topic.group(1))
    expected = {topic for topic in known_topics(shop) if topic != f"{TOPIC}/plugs/bramble-plug/watts"}
    assert heard == expected


def hostile_texts(dice: Random, count: int) -> list[str]:
    """Texts that are made of the worst pieces there are."""
    return ["".join(dice.choice([*NASTY, "hot ", "=1+1", "é", "𝄞"]) for _ in range(dice.randint(1, 8))) for _ in range(count)]


def heatwarden(shop: Workshop, command: str, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "watchdog.cli.main", command, "--config", shop.guard.config, "--state", shop.guard.state, *words],
        capture_output=True,
        check=False,
        timeout=20,
    )
    return (done.stdout + done.stderr).decode()


def assert_harmless(text: str) -> None:
    assert all(line.isprintable() for line in text.split("\n")), [line for line in text.split("\n") if not line.isprintable()]


def test_no_text_from_outside_breaks_a_line_or_a_terminal(shop: Workshop, dice: Random, long_count: Callable[[int, int], int]) -> None:
    """Threat S10: payloads, persons and reasons, in the log, in `status`, in `trips`, in words and in JSON."""
    with publisher(shop.broker.port) as stranger:
        for text in hostile_texts(dice, long_count(25, 500)):
            for topic in [f"{TOPIC}/bramble/bed", *(shop.site.plugs["bramble-plug"].topic(part) for part in ("order", "echo", "presence"))]:
                stranger.publish(topic, text.encode(), qos=1)
            stranger.publish(f"{TOPIC}/bramble/bed", orjson.dumps({"temperature_c": text, text: 1}), qos=1)
            asked: dict[str, Any] = shop.guard.ask(Request("trip", "bramble", person=text + "x", reason=text + "y"))
            assert asked["ok"]
            assert not shop.guard.ask(Request("reset", text, person=text + "x", reason=text))["ok"]
    until(lambda: shop.warnings("holds no usable reading"))
    until(lambda: [trip for trip in shop.trips("bramble") if trip.check == "by hand"])
    number = str(shop.trips("bramble")[-1].id)
    for command, *words in (
        ["status"],
        ["status", "--json"],
        ["trips"],
        ["trips", "--json"],
        ["trips", number],
        ["trips", number, "--json"],
    ):
        text = heatwarden(shop, command, *words)
        assert_harmless(text)
        assert "bramble" in text
        if "--json" in words:
            orjson.loads(text)
    log = shop.guard.log()
    assert_harmless(log)
    assert all(LOG_LINE.fullmatch(line) for line in log.splitlines()), "one line an event, and none that is forged"
    shop.plugs["bramble-plug"].switch(on=True)


def test_nothing_that_was_heard_reaches_a_program(shop: Workshop, board: Board) -> None:
    """Threat S14: arguments and environment of a relay's program are those of the settings."""
    canary = "canary $(touch /tmp/x); `id` & | %s {0}"
    with publisher(shop.broker.port) as stranger:
        say(stranger, f"{TOPIC}/cinder/bed", orjson.dumps({"temperature_c": canary, "target_c": canary, canary: canary}))
        say(stranger, f"{TOPIC}/cinder/bed", canary)
    shop.guard.ask(Request("trip", "cinder", person=canary, reason=canary))
    until(board.off_at)
    until(lambda: shop.guard.printer("cinder")["latch"]["verdict"] == "confirmed")
    calls = [ast.literal_eval(call) for call in board.calls()]
    assert {tuple(argv) for argv, _ in calls} == {(str(board.program), "off"), (str(board.program), "ask")}
    allowed = {"PATH", "LANG", "HEATWARDEN_RELAY", "HEATWARDEN_ORDER", "LC_CTYPE"}
    for _, environment in calls:
        names = dict(environment)
        assert set(names) <= allowed
        assert names["HEATWARDEN_RELAY"] == "cinder-board"
        assert names["HEATWARDEN_ORDER"] in {"off", "ask"}
        assert "canary" not in repr(environment)


def test_nothing_that_is_read_is_ever_run() -> None:
    """Threat S19: no module of the program can turn bytes into code."""
    banned = {"pickle", "marshal", "shelve", "dill", "yaml", "jsonpickle", "code", "codeop"}
    for file in Path(watchdog.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            names = {alias.name for alias in node.names} if isinstance(node, ast.Import) else set()
            names |= {str(node.module)} if isinstance(node, ast.ImportFrom) else set()
            assert not {name.partition(".")[0] for name in names} & banned, f"{file} imports {names}"
            called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
            assert called not in {"eval", "exec", "compile"}, f"{file} calls {called}"
