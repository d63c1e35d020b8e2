"""`heatwarden learn`: tighter limits from recordings of healthy work, and nothing from any other."""

import gzip
from dataclasses import replace
from pathlib import Path

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from watchdog.cli.app import app
from watchdog.core.inputs import Reading
from watchdog.replay.learning import LEAST_BAND_K, Learning
from watchdog.settings.feeds import Readings
from watchdog.settings.learnt import fingerprint, holds
from watchdog.settings.limits import resolve
from watchdog.settings.model import Heater, Learnt
from watchdog.simulation.families import case
from watchdog.simulation.running import run as simulated
from watchdog.wire.log_format import format_row, header_line

FACTS = """
kind = "{kind}"
readings = {{ broker = "main", topic = "shop/{name}", longest_interval_s = 5.0 }}
"""


def settings(folder: Path, more: str = "") -> Path:
    (folder / "printers").mkdir(parents=True)
    main = 'site = "millbrook"\n[brokers.main]\nhost = "127.0.0.1"\n[relays.bench]\nkind = "pretend"\ncuts = "printer"\n'
    (folder / "heatwarden.toml").write_text(main + 'file = "/tmp/bench"\n')
    heaters = "".join(f"[heaters.{name}]" + FACTS.format(kind=name, name=name) for name in ("bed", "hotend"))
    (folder / "printers" / "anvil.toml").write_text('relays = ["bench"]\n' + heaters + more)
    return folder


def log(path: Path, family: str, seed: int) -> Path:
    """A simulated recording of a printer that is called anvil."""
    one = case(family, seed)
    with gzip.open(path, "wt") as file:
        file.write(header_line())
        for moment in simulated(one.scenario, seed, one.until_s):
            for item in moment.messages:
                if isinstance(item, Reading):
                    file.write(format_row(f"{item.at:.3f}", item._replace(printer="anvil")))
    return path


def learn(config: Path, *words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["learn", "anvil", *map(str, words), "--config", str(config)])
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("logs")
    return [log(folder / f"{seed}.csv.gz", "ordinary_print", seed) for seed in (2, 3, 5, 7)]


def test_what_was_learnt_is_shown_as_text_that_the_settings_take(tmp_path: Path, logs: list[Path]) -> None:
    config = settings(tmp_path / "config")
    code, text, _ = learn(config, *logs)
    assert code == 0
    assert "[heaters.bed.learnt]" in text
    taught = settings(tmp_path / "taught", text)
    shown = CliRunner().invoke(app, ["limits", "anvil", "--json", "--config", str(taught)])
    assert shown.exit_code == 0
    bed = orjson.loads(shown.stdout)["heaters"]["bed"]
    band = next(limit for limit in bed["limits"] if limit["key"] == "band_k")
    assert band["origin"] == "learnt"
    assert LEAST_BAND_K["bed"] <= band["value"] < 15.0
    assert "15 without them" in band["why"]
    assert CliRunner().invoke(app, ["replay", *map(str, logs), "--config", str(taught)]).exit_code == 0


def test_a_log_that_trips_teaches_nothing(tmp_path: Path, logs: list[Path]) -> None:
    bad = log(tmp_path / "bad.csv.gz", "closed_idle", 2)
    code, text, complaint = learn(settings(tmp_path / "config"), *logs, bad)
    assert (code, text) == (1, "")
    assert "bad.csv.gz: trips at" in complaint


def test_too_little_teaches_nothing_and_says_what_is_missing(tmp_path: Path, logs: list[Path]) -> None:
    code, text, _ = learn(settings(tmp_path / "config"), logs[0])
    assert code == 0
    assert "[heaters" not in text
    assert "at least 2 h and 3 are needed" in text


@pytest.mark.parametrize("words", [("no-such.csv",), ()])
def test_bad_input_is_refused(tmp_path: Path, words: tuple[str, ...]) -> None:
    code, text, complaint = learn(settings(tmp_path / "config"), *words)
    assert (code, text) == (2, "")
    assert complaint


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("limits.stuck = { noisy_s = 5.0 }", "a check that is not known"),
        ("limits.overshoot = { hang_s = 5.0 }", "a limit that this check does not have"),
        ("limits.overshoot = { band_k = -5.0 }", "-5"),
        ("limits.overshoot = 7", "7"),
    ],
)
def test_what_cannot_be_learnt_is_a_problem_with_its_place(tmp_path: Path, line: str, found: str) -> None:
    config = settings(tmp_path / "config", f'[heaters.bed.learnt]\nfingerprint = "0"\nhours = 3.0\n{line}\n')
    done = CliRunner().invoke(app, ["check", "--config", str(config)])
    assert done.exit_code == 78
    assert "printers/anvil.toml" in done.output
    assert found in done.output


BED = Heater(
    kind="bed", readings=Readings(broker="main", topic="bed", longest_interval_s=5.0), rated_w=400.0, width_mm=300.0, depth_mm=300.0
)


def taught(heater: Heater, band_k: float) -> Heater:
    return replace(heater, learnt=Learnt(fingerprint=fingerprint(heater), hours=3.0, limits={"overshoot": {"band_k": band_k}}))


def band(heater: Heater) -> tuple[float, str]:
    found = next(limit for limit in resolve(heater) if limit.key == "band_k")
    return found.value, found.origin


@given(st.floats(0.1, 100.0))
def test_a_learnt_limit_never_loosens(band_k: float) -> None:
    usual, _ = band(BED)
    value, origin = band(taught(BED, band_k))
    assert value == min(usual, band_k)
    assert (origin == "learnt") == (band_k < usual)


def test_settings_come_before_what_was_learnt() -> None:
    assert band(replace(taught(BED, 9.0), limits={"overshoot": {"band_k": 20.0}})) == (20.0, "settings")


@pytest.mark.parametrize(
    "changed",
    [
        {"rated_w": 500.0}, {"width_mm": 235.0}, {"plate_mm": 4.0}, {"face_material": "glass"}, {"switch": "MOSFET module"},
        {"relays": ("main",)}, {"readings": Readings(broker="main", topic="other", longest_interval_s=5.0)},
        {"sensors": {"glued": Readings(broker="main", topic="glued", longest_interval_s=5.0)}},
    ],
    ids=lambda changed: next(iter(changed)),
)  # fmt: skip
def test_another_heater_plate_sensor_or_relay_voids_what_was_learnt(changed: dict[str, object]) -> None:
    heater = taught(BED, 9.0)
    assert holds(heater)
    other = replace(heater, **changed)  # type: ignore[arg-type]  # one field each
    assert not holds(other)
    assert band(other) == band(replace(other, learnt=None))


def test_the_most_that_a_printer_draws_while_off_lowers_its_limit_and_one_wild_report_does_not_raise_it() -> None:
    learning = Learning(["bed"])
    readings = [Reading("anvil", "bed", 10.0 * n, 21.0, target_c=0.0) for n in range(400)]
    watts = [Reading("anvil", "", 10.0 * n + 5.0, power_w=900.0 if n == 200 else 12.0 + n % 3) for n in range(400)]
    learning.take(sorted([*readings, *watts], key=lambda reading: reading.at), "anvil")
    learnt = learning.lesson("bed", BED).learnt
    assert learnt is not None
    assert learnt.limits == {"power_while_off": {"above_w": 27.0}}  # 13 W in two reports in a row, 1.3 times, and 10 more, rounded up


def test_check_says_that_what_was_learnt_is_void(tmp_path: Path) -> None:
    config = settings(tmp_path / "config", '[heaters.bed.learnt]\nfingerprint = "0"\nhours = 3.0\nlimits.overshoot = { band_k = 9.0 }\n')
    for command in (["check"], ["limits", "anvil"]):
        done = CliRunner().invoke(app, [*command, "--config", str(config)])
        assert done.exit_code == 0
        assert "learnt of it is void" in " ".join(done.output.split())


def test_a_target_turned_up_bit_by_bit_is_no_row_of_heat_ups() -> None:
    learning = Learning(["bed"])
    learning.take([Reading("anvil", "bed", 10.0 * n, 39.5 + n / 100, target_c=40.0 + n // 100) for n in range(900)], "anvil")
    lesson = learning.lesson("bed", BED)
    assert lesson.learnt is None
    assert "0 heat-ups" in lesson.remarks[0]
