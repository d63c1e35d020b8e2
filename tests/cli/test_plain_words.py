"""What the commands say to somebody who reads it for the first time."""

from pathlib import Path
from typing import Any, get_args

import pytest
from typer.testing import CliRunner

from watchdog.cli import replay, trip
from watchdog.cli.app import app
from watchdog.cli.status import POWER, _sensor, lines
from watchdog.core.cut import Verdict
from watchdog.recorder.records import NOT_OPEN_YET

EXAMPLES = Path(__file__).parents[2] / "config"


def test_check_counts_the_usual_limits_and_shows_them_on_demand() -> None:
    short = CliRunner().invoke(app, ["check", "--config", str(EXAMPLES)])
    whole = CliRunner().invoke(app, ["check", "--config", str(EXAMPLES), "--limits"])
    assert (short.exit_code, whole.exit_code) == (0, 0)
    assert len(short.output.splitlines()) < 140 < len(whole.output.splitlines())
    assert "above_c" in short.output
    assert "chosen in the printer's file" in short.output
    assert "hang_s" not in short.output
    assert "hang_s" in whole.output
    hidden = sum(int(line.split()[1]) for line in short.output.splitlines() if "more as is usual for a" in line)
    assert len(whole.output.splitlines()) - len(short.output.splitlines()) == hidden - short.output.count("more as is usual for a")
    assert "more as is usual" not in whole.output


@pytest.mark.parametrize(
    ("relays", "said"),
    [
        (["anvil-plug"], "OFF commanded through anvil-plug;"),
        (["anvil-plug", "table-plug"], "OFF commanded through anvil-plug (table-plug if that does not confirm);"),
        ([], "OFF commanded through no relay;"),
    ],
)
def test_a_trip_by_hand_says_which_relay_was_commanded_and_which_only_waits(relays: list[str], said: str) -> None:
    assert said in trip.told("anvil", {"ok": True, "already": False, "relays": relays, "trip": "run/1"})[0]


def test_every_verdict_on_a_cut_is_put_in_words() -> None:
    assert set(POWER) == set(get_args(Verdict))
    assert all(words.startswith("power: ") for words in POWER.values())


def status(**record: Any) -> dict[str, Any]:
    health = {"ok": True, "last_error": "", "waiting": 0, "notices": [], "lost": 0} | record
    guard: dict[str, Any] = {"notices": [], "warnings": [], "record": health, "latch_file": "", "remainders_file": ""}
    guard |= {"dropped_readings": 0, "refused_readings": 0, "pages": [], "worst_lag_s": 0.0}
    return {"printers": [], "starting": True, "relays": [], "guard": guard}


def test_a_record_that_is_not_open_yet_is_no_trouble_and_one_in_trouble_is() -> None:
    assert lines(status(ok=False, last_error=NOT_OPEN_YET, waiting=3))[-1] == f"{NOT_OPEN_YET}: protection comes first (3 waiting)"
    assert lines(status(ok=False, last_error="disk full", waiting=3))[-1] == "the record cannot be written: disk full (3 waiting)"


@pytest.mark.parametrize(
    ("heard", "said"),
    [
        ((None, None, False), "not heard yet"),
        ((61.23, 2.0, True), "61.2 degC"),
        ((61.23, 40.0, False), "61.2 degC 40 s ago, SILENT: it no longer counts"),
    ],
)
def test_a_further_sensor_has_a_line_of_its_own(heard: tuple[Any, ...], said: str) -> None:
    sensor = dict(zip(("temperature_c", "age_s", "counts"), heard, strict=True)) | {"name": "glued"}
    assert _sensor(sensor) == said


def test_a_record_that_is_not_there_is_said_once(tmp_path: Path) -> None:
    answer = CliRunner().invoke(app, ["trips", "--config", str(EXAMPLES), "--state", str(tmp_path)])
    assert answer.exit_code == 2
    assert answer.output.count("cannot be read") == 1
    assert "it is made when the guard starts" in answer.output


def test_advice_about_several_printers_names_no_empty_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "log.csv"
    rows = [f"{second},bramble,bed,{22 + second % 3 / 10},0,," for second in range(60)]
    rows[1:1] = ["0,anvil,bed,22,0,,", "0,cinder,bed,22,0,,", "0,anvil,hotend,22,0,,"]
    log.write_text("\n".join(["time,printer,heater,temperature_c,target_c,duty,power_w", *rows]))
    assert replay.run(EXAMPLES, [log], as_json=False) == 0
    said = capsys.readouterr().out
    assert "several printers: readings stopped" in said
    assert " / " not in said
