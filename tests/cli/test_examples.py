"""`heatwarden examples`: settings to begin with, and never over anything that stands."""

from pathlib import Path

from typer.testing import CliRunner

from watchdog.cli.app import app

TOP = Path(__file__).parents[2]


def test_the_examples_are_written_and_good(tmp_path: Path) -> None:
    answer = CliRunner().invoke(app, ["examples", str(tmp_path / "settings")])
    assert answer.exit_code == 0, answer.output
    written = {path.relative_to(tmp_path / "settings") for path in (tmp_path / "settings").rglob("*.toml")}
    assert written == {path.relative_to(TOP / "config") for path in (TOP / "config").rglob("*.toml")}
    assert CliRunner().invoke(app, ["check", "--config", str(tmp_path / "settings")]).exit_code == 0


def test_what_stands_there_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "heatwarden.toml").write_text("site = 'mine'\n")
    answer = CliRunner().invoke(app, ["examples", str(tmp_path)])
    assert answer.exit_code == 2
    assert f"{tmp_path / 'heatwarden.toml'}: there already, and nothing is overwritten" in answer.output
    assert [path.name for path in tmp_path.iterdir()] == ["heatwarden.toml"]


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    answer = CliRunner().invoke(app, ["examples", str(tmp_path / "file" / "settings")])
    assert answer.exit_code == 2
    assert "cannot be written" in answer.output
