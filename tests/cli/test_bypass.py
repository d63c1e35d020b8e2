"""`heatwarden bypass` against a guard: what it asks, what it says, and with which exit code it ends."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from rig.by_hand import GuardByHand
from typer.testing import CliRunner, Result

from watchdog.cli.app import app
from watchdog.cli.status import lines
from watchdog.wire.control import Request, decode_request, encode_request


class Bench:
    """A guard in this process whose clock stands still unless the test moves it, with its loop and its socket at work."""

    def __init__(self, folder: Path) -> None:
        self.guard = GuardByHand(folder)
        self.state = folder / "state"
        self._thread = threading.Thread(target=self.guard.guard.loop.run, name="loop")
        self.guard.guard._control.start()
        self._thread.start()

    def run(self, *words: str) -> Result:
        return CliRunner().invoke(app, ["bypass", "anvil", *words, "--state", str(self.state)])

    def json(self, *words: str) -> tuple[int, Any]:
        done = self.run(*words, "--json")
        return done.exit_code, orjson.loads(done.stdout)

    def bypasses(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.guard.status()["printers"][0]["bypasses"]
        return found

    def end(self) -> None:
        self.guard.guard.loop.stop()
        self._thread.join(5)
        self.guard.guard._control.stop()
        self.guard.__exit__(None, None, None)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    yield bench
    bench.end()


BEGIN = ("unheated rise", "--minutes", "20", "--by", "Robin", "--reason", "tuning the bed")


def test_it_begins_and_says_what_still_cuts(bench: Bench) -> None:
    done = bench.run(*BEGIN)
    assert done.exit_code == 0
    assert "anvil: unheated rise does not cut for 20 min. Ceiling and out of range still do." in done.stdout
    assert bench.bypasses() == [{"check": "unheated rise", "left_s": 1200.0, "person": "Robin", "reason": "tuning the bed"}]
    shown = "\n".join(lines(bench.guard.status()))
    assert "why not: unheated rise is bypassed for 20 min more by Robin: tuning the bed" in shown


@pytest.mark.parametrize("name", ["unheated_rise", "unheated-rise", "unheated  rise"])
def test_a_check_may_be_written_as_in_the_settings(bench: Bench, name: str) -> None:
    assert bench.json(name, *BEGIN[1:]) == (0, {"ok": True, "check": "unheated rise", "left_s": 1200.0, "replaced": None})


def test_a_second_one_names_the_first(bench: Bench) -> None:
    bench.run(*BEGIN)
    done = bench.run("unheated rise", "--minutes", "0.5", "--by", "Jo", "--reason", "once more")
    assert "This takes the place of the bypass by Robin: tuning the bed" in done.stdout
    assert [(entry["left_s"], entry["person"]) for entry in bench.bypasses()] == [(30.0, "Jo")]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("ceiling", "--minutes", "1", "--reason", "x"), "ceiling is never bypassed"),
        (("out_of_range", "--minutes", "1", "--reason", "x"), "out of range is never bypassed"),
        (("what", "--minutes", "1", "--reason", "x"), "anvil has no check 'what'; these may be bypassed: no readings, "),
        (("stuck", "--minutes", "61", "--reason", "x"), "must be meant: say so (--long)"),
        (("stuck", "--minutes", "481", "--long", "--reason", "x"), "at most 480 minutes"),
        (("stuck", "--minutes", "-1", "--reason", "x"), "more than 0"),
        (("stuck", "--minutes", "nan", "--reason", "x"), "minutes must be a float"),
        (("stuck", "--minutes", "1", "--reason", " "), "the name of a person and a reason"),
        (("--end",), "nothing of anvil is bypassed"),
        (("stuck", "--end"), "nothing of anvil is bypassed by the name of stuck"),
    ],
    ids=str,
)
def test_what_is_refused_ends_with_1_and_says_why(bench: Bench, words: tuple[str, ...], says: str) -> None:
    done = bench.run(*words)
    assert done.exit_code == 1
    assert says in done.stderr
    assert bench.json(*words) == (1, {"ok": False, "error": done.stderr.removeprefix("heatwarden: refused: ").strip()})
    assert bench.bypasses() == []


def test_an_unknown_printer_is_refused(bench: Bench) -> None:
    done = CliRunner().invoke(app, ["bypass", "dora", *BEGIN, "--state", str(bench.state)])
    assert (done.exit_code, "there is no printer 'dora'; there are: anvil, bramble, cinder" in done.stderr) == (1, True)


def test_up_to_8_hours_where_it_is_meant(bench: Bench) -> None:
    assert bench.json("stuck", "--minutes", "480", "--long", "--reason", "calibrating")[0] == 0
    assert bench.bypasses()[0]["left_s"] == 28_800.0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "a bypass needs a CHECK, --minutes N, --reason TEXT: heatwarden bypass PRINTER CHECK"),
        (("stuck", "--reason", "x"), "a bypass needs --minutes N:"),
        (("stuck", "--minutes", "3"), "a bypass needs --reason TEXT:"),
        (("--end", "--minutes", "3"), "--end and --minutes do not go together"),
    ],
    ids=str,
)
def test_what_is_missing_ends_with_2(bench: Bench, words: tuple[str, ...], says: str) -> None:
    done = bench.run(*words)
    assert done.exit_code == 2
    assert says in done.stderr
    code, told = bench.json(*words)
    assert (code, told["ok"]) == (2, False)


def test_it_is_ended_by_a_person_one_or_all(bench: Bench) -> None:
    for check in ("stuck", "overshoot", "no readings"):
        assert bench.run(check, "--minutes", "5", "--reason", "x").exit_code == 0
    done = bench.run("stuck", "--end", "--by", "Jo")
    assert (done.exit_code, done.stdout) == (0, "anvil: armed again: stuck; still bypassed: overshoot, no readings\n")
    assert bench.json("--end") == (0, {"ok": True, "ended": ["overshoot", "no readings"], "still": []})
    assert bench.bypasses() == []
    ended = [row.person for row in bench.guard.events() if row.kind == "bypass over"]
    assert ended[0] == "Jo"


def test_without_a_guard_it_ends_with_69(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["bypass", "anvil", *BEGIN, "--state", str(tmp_path)])
    assert done.exit_code == 69
    assert "no guard is running" in done.stderr


def test_begin_and_end_are_on_record_with_person_and_reason(bench: Bench) -> None:
    bench.run(*BEGIN)
    bench.run("--end", "--by", "Jo")
    rows = [row for row in bench.guard.events() if row.kind.startswith("bypass")]
    assert [(row.kind, row.level, row.person, row.check) for row in rows] == [
        ("bypass", "warning", "Robin", "unheated rise"),
        ("bypass over", "info", "Jo", "unheated rise"),
    ]
    assert rows[0].sentence.endswith("tuning the bed")


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("minutes", True, "minutes must be a float"),
        ("minutes", "3", "minutes must be a float"),
        ("minutes", None, "minutes must be a float"),
        ("long", 1, "long must be a bool"),
        ("check", 5, "check must be a str"),
        ("until", 5, "unknown key 'until'"),
    ],
)
def test_a_request_of_a_wrong_shape_is_refused(key: str, value: object, says: str) -> None:
    told = {"ask": "bypass", "printer": "anvil", "check": "stuck", "minutes": 3, "person": "Robin", "reason": "x"}
    found = decode_request(orjson.dumps(told | {key: value}))
    assert isinstance(found, str)
    assert says in found


def test_a_request_comes_back_as_it_went() -> None:
    asked = Request("bypass", "anvil", "Robin", "tuning", check="stuck", minutes=7.5, long=True)
    assert decode_request(encode_request(asked)) == asked
    assert decode_request(b'{"ask": "bypass", "minutes": 3}') == Request("bypass", minutes=3)
