"""What a newcomer asks first, and mistypes."""

from importlib.metadata import version
from pathlib import Path
from shutil import copytree

from typer.testing import CliRunner

from watchdog.cli.app import app

EXAMPLES = Path(__file__).parents[2] / "config"


def asked(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, list(words))
    return done.exit_code, done.output


def test_which_version_this_is() -> None:
    assert asked("--version") == (0, f"heatwarden {version('heatwarden')}\n")


def test_a_supply_of_the_mains_is_not_taken_for_one_of_24_volts(tmp_path: Path) -> None:
    config = copytree(EXAMPLES, tmp_path / "config")
    anvil = config / "printers" / "anvil.toml"
    anvil.write_text(anvil.read_text().replace('supply = "mains"', 'supply = "230 V AC"'))
    code, text = asked("check", "--config", str(config))
    assert code == 78
    assert 'did you mean "mains"?' in text


def test_a_facts_unit_that_nobody_can_mean_is_told(tmp_path: Path) -> None:
    config = copytree(EXAMPLES, tmp_path / "config")
    anvil = config / "printers" / "anvil.toml"
    anvil.write_text(anvil.read_text().replace("rated_w = 700.0", "rated_w = 0.7"))
    code, text = asked("check", "--config", str(config))
    assert code == 78
    assert "found 0.7; allowed: 5 to 20000 watts" in text
