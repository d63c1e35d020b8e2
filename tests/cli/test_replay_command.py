"""`heatwarden replay`: what it prints, what it returns, and of whom it speaks."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from typer.testing import CliRunner

from watchdog.cli.app import app

EXAMPLES = Path(__file__).parents[2] / "config"
HEADER = "time,printer,heater,sensor,temperature_c,target_c,duty,power_w"


def beside_each_other(seconds: int, *, feed_w: float = 0.0, silent_from: int = 10**9) -> Iterator[str]:
    """A bed that is off and a hotend that holds, of one printer of four; the meter in the bed's feed speaks every ten seconds."""
    yield HEADER
    for at in range(seconds):
        if at < silent_from:
            yield f"{at},anvil,bed,,22.{at % 3},0,0,"
        yield f"{at},anvil,hotend,,200.{at % 3},200,0.4,"
        if at % 10 == 0:
            yield f"{at}.2,anvil,bed,anvil-bed-contactor,,,,{feed_w}"


def replayed(folder: Path, lines: Iterator[str], *words: str) -> tuple[int, str]:
    log = folder / "night.csv"
    log.write_text("\n".join(lines) + "\n")
    done = CliRunner().invoke(app, ["replay", "--config", str(EXAMPLES), str(log), *words])
    return done.exit_code, done.output


def report(folder: Path, lines: Iterator[str]) -> tuple[int, dict[str, Any]]:
    code, text = replayed(folder, lines, "--json")
    found: dict[str, Any] = orjson.loads(text)
    (log,) = found["logs"]
    return code, log


def test_printers_that_are_not_in_a_log_are_not_spoken_of(tmp_path: Path) -> None:
    code, log = report(tmp_path, beside_each_other(400))
    assert code == 0
    assert (log["trips"], log["advisories"]) == ([], [])
    assert {printer: set(heaters) for printer, heaters in log["headroom"].items()} == {"anvil": {"bed", "hotend"}}
    assert (log["log"], log["readings"], log["first"], log["last"]) == ("night.csv", 840, "0", "399")


def test_a_heater_that_falls_silent_in_a_log_is_told(tmp_path: Path) -> None:
    code, log = report(tmp_path, beside_each_other(400, silent_from=200))
    assert code == 0
    assert [(entry["check"], entry["reason"]) for entry in log["advisories"]] == [("readings stopped", "nothing fresh of anvil/bed")]


def test_a_row_of_power_alone_is_the_meter_in_the_feed_of_a_heater(tmp_path: Path) -> None:
    code, log = report(tmp_path, beside_each_other(400, feed_w=310.0))
    assert code == 1
    (trip,) = log["trips"]
    assert (trip["printer"], trip["heater"], trip["check"]) == ("anvil", "bed", "power while off")
    assert "its own meter has seen 310 W" in trip["reason"]
    assert log["headroom"]["anvil"]["bed"]["power while off"] == 1.0


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_a_log_of_strangers_is_refused(tmp_path: Path, words: tuple[str, ...]) -> None:
    code, text = replayed(tmp_path, iter([HEADER, "0,nobody,bed,,22,0,0,", "1,nobody,bed,,22,0,0,"]), *words)
    assert code == 2
    assert "none of its heaters is in the settings (found nobody/bed; known are" in text


def test_a_log_of_which_no_temperature_can_be_read_is_no_good_news(tmp_path: Path) -> None:
    code, text = replayed(tmp_path, iter([HEADER, *(f"{at},anvil,bed,,60 C,60,0.5," for at in range(50))]))
    assert code == 2
    assert "no temperature in it could be read, so nothing was judged: line 2: temperature_c is" in text
    assert '"60 C", taken as not reported; allowed: a plain number from' in text


def test_the_first_cell_that_cannot_be_read_is_shown_and_a_heater_without_a_temperature_is_named(tmp_path: Path) -> None:
    lines = [HEADER, *(row for at in range(50) for row in (f"{at},anvil,bed,,22.{at % 3},0,57,", f"{at},anvil,hotend,,,200,,"))]
    _, text = replayed(tmp_path, iter(lines))
    assert '50 unreadable cells, the first in line 2: duty is "57", taken as not reported; allowed: a plain number from 0 to 1' in text
    assert "NO TEMPERATURE of anvil/hotend could be read" in text


def test_milliseconds_are_not_taken_for_seconds(tmp_path: Path) -> None:
    code, text = replayed(tmp_path, iter([HEADER, "1767225600000,anvil,bed,,22,0,0,"]))
    assert code == 2
    assert "if these are milliseconds, divide them by 1000" in text
