"""What a newcomer asks first, and mistypes."""

from importlib.metadata import version
from pathlib import Path
from shutil import copytree

import pytest
from typer.testing import CliRunner

from watchdog.cli.app import app

EXAMPLES = Path(__file__).parents[2] / "config"


def asked(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, list(words))
    return done.exit_code, done.output


def test_which_version_this_is() -> None:
    assert asked("--version") == (0, f"heatwarden {version('heatwarden')}\n")


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        ('supply = "mains"', 'supply = "230 V AC"', 'did you mean "mains"?'),
        ("rated_w = 700.0", "rated_w = 0.7", "found 0.7; allowed: 5 to 20000 watts"),
    ],
    ids=["mains are not 24 volts", "kilowatts"],
)
def test_what_nobody_can_mean_is_told(tmp_path: Path, right: str, wrong: str, told: str) -> None:
    config = copytree(EXAMPLES, tmp_path / "config")
    anvil = config / "printers" / "anvil.toml"
    assert right in anvil.read_text()
    anvil.write_text(anvil.read_text().replace(right, wrong))
    code, text = asked("check", "--config", str(config))
    assert (code, told in text) == (78, True)
