"""The last good settings, through broken files and power cuts (rows F82 and F84)."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from watchdog.settings import validated_copy
from watchdog.settings.load import load
from watchdog.settings.quick import load_quickly
from watchdog.settings.validated_copy import keep, kept, load_last


@pytest.fixture
def state(config: Path) -> Path:
    return config.parent / "state"


def edit(config: Path, old: str, new: str) -> None:
    file = config / "printers" / "anvil.toml"
    assert old in file.read_text()
    file.write_text(file.read_text().replace(old, new))


def test_the_copy_holds_the_exact_bytes_and_only_the_guards_group_may_read_it(config: Path, state: Path) -> None:
    texts = load(config).texts
    keep(state, texts)
    assert kept(state) == texts
    assert texts["printers/anvil.toml"] == (config / "printers" / "anvil.toml").read_bytes()
    files = [path for path in (state / "validated").rglob("*") if path.is_file()]
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o640}
    assert stat.S_IMODE((state / "validated").stat().st_mode) == 0o750
    assert not any(b"correct horse" in path.read_bytes() for path in files)


def test_the_last_good_settings_serve_when_a_file_was_cut_off(config: Path, state: Path) -> None:
    good = load(config)
    keep(state, good.texts)
    (config / "printers" / "anvil.toml").write_text("relays = [")
    assert load(config).settings is None
    assert load_last(state).settings == good.settings


def test_the_last_good_settings_serve_when_a_secret_is_gone(config: Path, state: Path) -> None:
    good = load(config)
    keep(state, good.texts)
    (config.parent / "secret").unlink()
    (config.parent / "program").unlink()
    assert load(config).settings is None
    assert load_last(state).settings == good.settings


def test_without_a_copy_there_is_nothing(state: Path) -> None:
    last = load_last(state)
    assert (last.settings, last.problems) == (None, ())


def test_a_newer_copy_replaces_the_older_one_whole(config: Path, state: Path) -> None:
    keep(state, load(config).texts)
    (config / "printers" / "cinder.toml").unlink()
    newer = load(config)
    keep(state, newer.texts)
    assert load_last(state).settings == newer.settings
    assert sorted(path.name for path in state.iterdir()) == ["validated"]


def test_an_unchanged_copy_is_not_written_again(config: Path, state: Path) -> None:
    keep(state, load(config).texts)
    before = (state / "validated").stat().st_ino
    keep(state, load(config).texts)
    assert (state / "validated").stat().st_ino == before


@pytest.mark.parametrize("step", range(12))
def test_a_power_cut_at_any_step_leaves_one_whole_copy(config: Path, state: Path, monkeypatch: pytest.MonkeyPatch, step: int) -> None:
    older = load(config)
    keep(state, older.texts)
    edit(config, "normal_max_c = 100.0", "normal_max_c = 95.0")
    newer = load(config)
    left = [step]

    def cut(function: object) -> object:
        def stopped(*arguments: object, **named: object) -> object:
            if left[0] == 0:
                raise OSError("the power went")
            left[0] -= 1
            return function(*arguments, **named)  # type: ignore[operator]

        return stopped

    monkeypatch.setattr(validated_copy, "_write", cut(validated_copy._write))
    monkeypatch.setattr(validated_copy, "_sync_folder", cut(validated_copy._sync_folder))
    monkeypatch.setattr(Path, "rename", cut(Path.rename))
    try:
        keep(state, newer.texts)
    except OSError:
        assert step < 9
    else:
        assert step >= 9
    monkeypatch.undo()

    assert load_last(state).settings in {0: [older.settings], 1: [older.settings, newer.settings]}[step >= 7]
    keep(state, newer.texts)
    assert load_last(state).settings == newer.settings


def test_unchanged_files_give_the_same_settings_without_the_validator(config: Path, state: Path) -> None:
    full = load(config)
    keep(state, full.texts)
    assert load_quickly(config, state).settings == full.settings
    program = (
        "import sys; from pathlib import Path; from watchdog.settings.quick import load_quickly\n"
        f"assert load_quickly(Path({str(config)!r}), Path({str(state)!r})).settings\n"
        "print('pydantic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_numbers_without_a_point_are_the_same_either_way(config: Path, state: Path) -> None:
    edit(config, "normal_max_c = 100.0", "normal_max_c = 100")
    full = load(config)
    keep(state, full.texts)
    quick = load_quickly(config, state).settings
    assert quick is not None
    assert repr(quick) == repr(full.settings)


def test_one_changed_byte_is_validated(config: Path, state: Path) -> None:
    keep(state, load(config).texts)
    edit(config, "normal_max_c = 100.0", "normal_max_c = 1e400")
    assert [problem.code for problem in load_quickly(config, state).problems] == ["not-finite"]


def test_a_secret_that_was_opened_up_since_is_seen_all_the_same(config: Path, state: Path) -> None:
    keep(state, load(config).texts)
    (config.parent / "secret").chmod(0o644)
    assert [problem.code for problem in load_quickly(config, state).problems] == ["secret-open"]


def test_a_copy_of_another_version_is_validated(config: Path, state: Path) -> None:
    keep(state, load(config).texts)
    (state / "validated" / "checked-by").write_text("heatwarden 0.0.1 00000000\n")
    assert kept(state) is None
    assert load_quickly(config, state).settings == load(config).settings


def test_a_copy_that_somebody_wrote_by_hand_cannot_bring_unknown_keys(config: Path, state: Path) -> None:
    edit(config, "normal_max_c = 100.0", "normal_maximum_c = 100.0")
    texts = load(config).texts
    keep(state, texts)
    assert [problem.code for problem in load_quickly(config, state).problems] == ["unknown-key"]


def test_a_full_disk_leaves_the_older_copy(config: Path, state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    older = load(config)
    keep(state, older.texts)
    edit(config, "normal_max_c = 100.0", "normal_max_c = 95.0")

    def full(number: int) -> None:
        raise OSError(28, f"No space left on device ({number > 0})")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        keep(state, load(config).texts)
    assert load_last(state).settings == older.settings
