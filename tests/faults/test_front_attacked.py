"""Row F47: the front is hung, killed and flooded, and the guard goes on as if nothing were; a printer that is pushed depends on it."""

import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig.attacks import ATTACKS
from rig.figures import figure
from rig.front import Front
from rig.house import House, house
from rig.processes import lives
from rig.workshop import seconds, until

pytestmark = pytest.mark.rig

HOT_C = 180.0
CUT_WITHIN_S = 1.0
BACK_WITHIN_S = 5.0
PUSH_EVERY_S = 0.5
GRACE_S = 12.0
AWAY_S = 4.0
MOST_MB = 256
"""What its unit allows the front."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with house(tmp_path_factory.mktemp("attacked")) as made:
        yield made


def cut_s(home: House) -> float:
    """Anvil gets hot; how long until its power is gone. It is cold and armed again afterwards."""
    shop = home.shop
    printer = shop.printers["anvil"]
    until(lambda: shop.state("anvil") == "protected", 15.0)
    t0 = seconds()
    printer.temperature_c = HOT_C
    took_s = shop.off_after_s("anvil-plug", t0)
    shop.clear("anvil")
    return took_s


def memory_mb(pid: int) -> float:
    """The most resident memory that a process ever had."""
    line = next(line for line in Path(f"/proc/{pid}/status").read_text().splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) / 1024.0


def answers(front: Front) -> bool:
    try:
        return front.get("/livez").status == 200
    except OSError:
        return False


@pytest.mark.parametrize("name", ATTACKS)
def test_under_attack_the_guard_cuts_and_the_front_stays_small_and_comes_back(home: House, name: str) -> None:
    assert home.front.process is not None
    stop = threading.Event()
    attack = threading.Thread(target=ATTACKS[name], args=(home.front.port, home.make_token(name, "report"), stop))
    attack.start()
    try:
        stop.wait(1.0)
        took_s = cut_s(home)
        assert home.shop.guard.status()["site"] == "millbrook"
    finally:
        stop.set()
        attack.join()
    began = seconds()
    until(lambda: answers(home.front), BACK_WITHIN_S)
    figure(f"F47 front under {name}: hot to power gone", took_s)
    figure(f"F47 front after {name}: answers again", seconds() - began)
    assert took_s < CUT_WITHIN_S
    assert lives(home.front.process.pid)
    assert memory_mb(home.front.process.pid) < MOST_MB


def test_a_front_that_hangs_holds_up_nothing(home: House) -> None:
    assert home.front.process is not None
    home.front.process.send_signal(signal.SIGSTOP)
    try:
        took_s = cut_s(home)
    finally:
        home.front.process.send_signal(signal.SIGCONT)
    figure("F47 front stopped: hot to power gone", took_s)
    assert took_s < CUT_WITHIN_S
    until(lambda: answers(home.front), BACK_WITHIN_S)


class Pusher(threading.Thread):
    """A printer that tells of itself over HTTP, and tries again when nobody listens."""

    def __init__(self, front: Front, token: str, printer: str) -> None:
        super().__init__(daemon=True)
        self._front, self._token, self._printer = front, token, printer
        self._ended = threading.Event()

    def run(self) -> None:
        place = 0
        while not self._ended.wait(PUSH_EVERY_S):
            place += 1
            item = {"printer": self._printer, "heater": "bed", "temperature_c": 60.0 + place % 5 / 10, "target_c": 60}
            try:
                self._front.post("/api/v1/readings", item, self._token)
            except OSError:
                continue

    def end(self) -> None:
        self._ended.set()
        self.join()


def kill(front: Front) -> float:
    assert front.process is not None
    front.process.kill()
    front.process.wait(10)
    return seconds()


def test_a_pushed_printer_that_heats_is_cut_only_when_the_front_stays_away_longer_than_the_grace(tmp_path: Path) -> None:
    with house(tmp_path, advise_s=6.0, grace_s=GRACE_S) as home:
        shop, front = home.shop, home.front
        pusher = Pusher(front, home.tokens["report"], "cinder")
        pusher.start()
        try:
            until(lambda: shop.state("cinder") == "protected", 10.0)
            killed = kill(front)
            threading.Event().wait(AWAY_S)
            front.start()
            until(lambda: seconds() > killed + GRACE_S + 1.0, GRACE_S + 2.0)
            assert shop.plugs["cinder-plug"].off_at_ns() is None
            assert shop.state("cinder") == "protected"

            killed = kill(front)
            took_s = shop.off_after_s("cinder-plug", killed, GRACE_S + 3.0)
            figure("F47 front away: last reading pushed to power gone (grace 12 s)", took_s)
            assert GRACE_S - 2.0 * PUSH_EVERY_S < took_s < GRACE_S + 1.0
            assert [(trip.heater, trip.check) for trip in shop.trips("cinder")] == [("bed", "no readings")]
        finally:
            pusher.end()
