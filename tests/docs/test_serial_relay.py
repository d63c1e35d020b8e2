"""The program of the page on serial relays, as it stands there, against a board on a pseudo-terminal; and the real driver that runs it."""

import re
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from rig.broker import wait_for
from rig.how_to import Bench, page
from rig.serial_board import SerialBoard

from watchdog.core.inputs import RelayReport
from watchdog.relays.command import CommandDriver
from watchdog.relays.driver import Driver
from watchdog.relays.mqtt_links import Links
from watchdog.relays.registry import build
from watchdog.settings.assemble import relay_address
from watchdog.settings.load import load

pytestmark = pytest.mark.rig

PAGE = page("serial-relay.md")
PORT_OF_THE_PAGE = "/dev/serial/by-id/relay-board"


@pytest.fixture
def board() -> Iterator[SerialBoard]:
    with SerialBoard() as running:
        yield running


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(PAGE, tmp_path)


Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def run(bench: Bench, board: SerialBoard) -> Run:
    """The program with these arguments after the port."""

    def start(*words: str, **more: Any) -> "subprocess.CompletedProcess[str]":
        command = [str(bench.programs / "relay-board"), board.port, *words]
        return subprocess.run(command, capture_output=True, text=True, check=False, timeout=10, **more)

    return start


def test_the_commands_of_the_page_print_what_the_page_says(bench: Bench, board: SerialBoard) -> None:
    place = next(number for number, block in enumerate(PAGE.blocks) if block.language == "sh")
    typed = bench.here(PAGE.blocks[place].text).replace(PORT_OF_THE_PAGE, board.port)
    said = subprocess.run(["bash", "-c", typed], capture_output=True, text=True, check=True, timeout=20).stdout
    assert said == PAGE.blocks[place + 1].text
    assert board.closed == {2}


def test_it_opens_one_channel_and_leaves_the_others(run: Run, board: SerialBoard) -> None:
    done = run("open", "2")
    assert (done.returncode, done.stdout, board.closed) == (0, "off\n", {1})
    assert run("show", "1").stdout == "on\n"


@pytest.mark.parametrize(
    ("trouble", "answer"),
    [
        ({"mute": True}, "the board did not answer"),
        ({"slow_s": 3.0}, "the board did not answer"),
        ({"stuck": True, "before_answers": b"ready\n\xff\xfe\n"}, ""),
        ({"before_answers": b"1 closed\n2 open\n1 clo\n"}, ""),
    ],
    ids=["mute", "too slow", "noise ahead", "late answers ahead"],
)
def test_it_says_sent_only_when_the_board_has_answered_this_order(
    run: Run, board: SerialBoard, trouble: dict[str, Any], answer: str
) -> None:
    vars(board).update(trouble)
    started = time.monotonic_ns()
    done = run("open", "1")
    assert done.stderr.strip() == answer
    assert (done.returncode == 0) is (answer == "")
    assert (time.monotonic_ns() - started) / 1e9 < 2.0, "it must end before the driver ends it"


def test_an_order_that_was_killed_half_said_spoils_nothing(run: Run, board: SerialBoard) -> None:
    with Path(board.port).open("wb", buffering=0) as half:
        half.write(b"sho")
    assert run("open", "1").stdout == "off\n"
    assert board.heard[:2] == ["sho", "open 1"]


def test_two_relays_of_one_board_wait_for_each_other(run: Run, board: SerialBoard) -> None:
    board.slow_s = 0.2
    results: list[str] = []
    both = [threading.Thread(target=lambda word=word: results.append(run("open", word).stdout)) for word in ("1", "2")]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert (results, board.closed) == (["off\n", "off\n"], set())


def test_no_relay_of_the_guard_can_close_it(run: Run, board: SerialBoard) -> None:
    board.closed = set()
    done = run("close", "1", env={"HEATWARDEN_ORDER": "off"})
    assert (done.returncode, board.closed) == (1, set())
    assert "closing is for a person" in done.stderr


@pytest.mark.parametrize("words", [(), ("open",), ("toggle", "1"), ("open", "1", "2")])
def test_other_arguments_are_refused_with_the_usage(run: Run, words: tuple[str, ...]) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("relay-board PORT open|show|close CHANNEL")


def test_a_port_that_is_no_port_says_so(bench: Bench, tmp_path: Path) -> None:
    for path, why in ((tmp_path / "missing", "No such file"), (Path("/dev/null"), "Inappropriate ioctl")):
        done = subprocess.run([bench.programs / "relay-board", path, "open", "1"], capture_output=True, text=True, check=False, timeout=10)
        assert done.returncode == 1
        assert re.match(rf"{path}: .*{why}", done.stderr), done.stderr


def driver(bench: Bench, board: SerialBoard, report: Callable[[RelayReport], None]) -> Driver:
    """The relay of the page, built from its settings, on the line of the board."""
    main = bench.config / "heatwarden.toml"
    main.write_text(main.read_text().replace(PORT_OF_THE_PAGE, board.port).replace("ask_every_s = 30.0", "ask_every_s = 5.0"))
    settings = load(bench.config).settings
    assert settings is not None
    address = relay_address(settings, "anvil-bed-contactor")
    now = lambda: time.monotonic_ns() / 1e9  # noqa: E731 - as short as it can be
    kind = {"kind": "command"}
    fields = {key: getattr(address, key) for key in ("off", "ask", "ask_every_s", "time_limit_s")}
    return build("anvil-bed-contactor", kind | fields, now=now, report=report, links=Links(now))


def test_the_real_driver_opens_the_board_and_hears_that_it_is_open(bench: Bench, board: SerialBoard) -> None:
    reports: list[RelayReport] = []
    relay = driver(bench, board, reports.append)
    assert isinstance(relay, CommandDriver)
    relay.start()
    try:
        assert wait_for(lambda: any(report.state == "on" and report.reachable for report in reports))
        relay.off(7)
        assert wait_for(lambda: any(report.order == 7 and report.sent for report in reports))
        assert 1 not in board.closed
        assert wait_for(lambda: reports[-1].state == "off")
        board.mute = True
        assert wait_for(lambda: reports[-1].reachable is False, 12)
        assert "the board did not answer" in reports[-1].why
    finally:
        relay.stop()


def test_a_board_that_does_not_answer_is_not_called_sent(bench: Bench, board: SerialBoard) -> None:
    reports: list[RelayReport] = []
    board.mute = True
    relay = driver(bench, board, reports.append)
    relay.start()
    try:
        relay.off(1)
        assert wait_for(lambda: any(report.sent is not None for report in reports))
        told = next(report for report in reports if report.sent is not None)
        assert (told.sent, told.why) == (False, "exit status 1: 'the board did not answer'")
    finally:
        relay.stop()
