"""The demo as a whole: one real run, and how it ends when it is broken off."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import orjson
import pytest
from rig.broker import wait_for
from rig.demo import AS_INSTALLED, Demo, demo

from watchdog.guard import clock

LONGEST_S = 90.0
ENDS_WITHIN_S = 3.0

NOBODY_CUTS = "from watchdog.cli import demo; demo.LATEST_S = 20.0\nfrom watchdog.cli.main import main; main()"
"""A show that is over before anything could have been cut."""


class Seen(NamedTuple):
    """A whole run with `--json --stay --keep`."""

    took_s: float
    told: dict[str, Any]
    err: str
    went_on: bool
    code: int | None
    ended_in_s: float
    kept: Path


def _whole(text: str) -> bool:
    return text.endswith("\n}\n")


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Seen]:
    kept = tmp_path_factory.mktemp("demo")
    began = clock.now()
    with demo("--json", "--stay", "--keep", str(kept)) as run:
        assert wait_for(lambda: _whole(run.out) or run.process.poll() is not None, LONGEST_S), run.err
        took_s = clock.now() - began
        assert wait_for(lambda: "heatwarden status --config" in run.err), run.err
        went_on = run.ended_within(2.0) is None
        asked = clock.now()
        run.interrupt()
        code = run.ended_within(10.0)
        yield Seen(took_s, orjson.loads(run.out), run.err, went_on, code, clock.now() - asked, kept)


def _ask(kept: Path, command: str) -> subprocess.CompletedProcess[str]:
    words = [*AS_INSTALLED, command, "--config", str(kept / "settings"), "--json"]
    return subprocess.run(words, capture_output=True, text=True, check=False)


@pytest.mark.rig
def test_two_printers_are_cut_before_harm_and_the_third_goes_on(seen: Seen) -> None:
    told = seen.told
    assert told["as_expected"] is True
    assert {name: entry["cut"] for name, entry in told["printers"].items()} == {"anvil": True, "bramble": True, "cinder": False}
    for entry in told["printers"].values():
        assert entry["hottest_with_c"] < entry["harm_c"]
        assert entry["plug"] == ("open" if entry["cut"] else "closed")


@pytest.mark.rig
def test_without_the_cut_both_would_have_come_to_harm_and_the_third_would_not(seen: Seen) -> None:
    for entry in seen.told["printers"].values():
        assert (entry["hottest_without_c"] >= entry["harm_c"]) == entry["cut"]
        assert (entry["harm_without_after_s"] is not None) == entry["cut"]


@pytest.mark.rig
def test_the_trips_in_its_json_are_those_of_the_record(seen: Seen) -> None:
    told = seen.told["trips"]
    assert [(trip["printer"], trip["heater"]) for trip in told] == [("anvil", "bed"), ("bramble", "hotend")]
    assert all(trip["outcome"] == "proven" and trip["off_after_s"] > 0.0 for trip in told)
    stored = orjson.loads(_ask(seen.kept, "trips").stdout)["trips"]
    assert [(trip["printer"], trip["check"], trip["reason"]) for trip in reversed(stored)] == [
        (trip["printer"], trip["check"], trip["reason"]) for trip in told
    ]


@pytest.mark.rig
def test_it_says_first_how_long_it_takes_and_that_it_runs_faster_than_the_wall(seen: Seen) -> None:
    assert seen.took_s < LONGEST_S
    assert seen.err.startswith("For about 40 seconds")
    assert f"{seen.told['times_faster']:.0f} TIMES FASTER" in seen.err


@pytest.mark.rig
def test_what_happens_is_told_as_happening_seen_cut_and_confirmed(seen: Seen) -> None:
    told = [line.split()[1:3] for line in seen.err.splitlines() if "anvil: " in line]
    assert [word for word, _ in told] == ["happens", "seen", "cut", "confirmed"]
    cinder = [line for line in seen.err.splitlines() if "cinder: " in line]
    assert [line.split()[1] for line in cinder] == ["happens", "happens"], cinder


@pytest.mark.rig
def test_it_stays_until_ctrl_c_and_still_ends_well(seen: Seen) -> None:
    assert seen.went_on
    assert "cinder goes on printing" in " ".join(seen.err.split())
    assert seen.code == 0, seen.err
    assert seen.ended_in_s < ENDS_WITHIN_S
    assert "Traceback" not in seen.err


@pytest.mark.rig
def test_its_settings_are_good_and_its_guard_has_gone(seen: Seen) -> None:
    assert _ask(seen.kept, "check").returncode == 0
    assert _ask(seen.kept, "status").returncode == 69


@pytest.mark.rig
@pytest.mark.parametrize("after", ["For about", "  cinder", "read "], ids=["at once", "while the guard starts", "in the show"])
def test_ctrl_c_ends_it_soon_without_a_traceback_and_leaves_nobody_behind(after: str) -> None:
    with demo() as run:
        assert wait_for(lambda: after in run.out, 20.0), run.err
        began = clock.now()
        run.interrupt()
        run.interrupt()
        assert run.ended_within(10.0) == 1, run.err
        assert clock.now() - began < ENDS_WITHIN_S
        assert "Stopped before the end" in run.out
        assert run.err == ""
        assert run.others() == []


@pytest.mark.rig
def test_its_guard_does_not_outlive_a_demo_that_is_killed() -> None:
    with demo() as run:
        assert wait_for(lambda: "read " in run.out, 20.0), run.err
        assert wait_for(lambda: len(run.others()) == 1)  # the guard; a process that opens its record ends by itself
        run.process.kill()
        run.process.wait()
        assert wait_for(lambda: not run.others(), ENDS_WITHIN_S)


@pytest.mark.rig
def test_a_show_in_which_nobody_is_cut_is_not_as_it_should_be() -> None:
    with demo("--json", command=(sys.executable, "-c", NOBODY_CUTS)) as run:
        assert _ended(run) == 1, run.err
        assert orjson.loads(run.out)["as_expected"] is False


@pytest.mark.rig
def test_an_earlier_demo_is_neither_overwritten_nor_gone_on_with(tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    with demo("--keep", str(tmp_path)) as run:
        assert _ended(run) == 2
        assert "holds an earlier demo" in run.err
    assert [path.name for path in tmp_path.rglob("*")] == ["state"]


@pytest.mark.rig
def test_without_its_embedded_broker_it_says_what_to_install() -> None:
    script = "import sys; sys.modules['amqtt.broker'] = None\nfrom watchdog.cli.main import main; main()"
    with demo(command=(sys.executable, "-c", script)) as run:
        assert _ended(run) == 2
        assert "pip install 'heatwarden[demo]'" in run.err


def _ended(run: Demo) -> int | None:
    return run.ended_within(30.0)
