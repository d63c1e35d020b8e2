"""The latch file on a real file system."""

import contextlib
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import orjson
import pytest

from watchdog.core.latch import Latch
from watchdog.latch.port import OsFilePort
from watchdog.latch.slot import body_bytes
from watchdog.latch.store import NAME, LatchStore, room_for


def latch(printer: str, reason: str = "the bed is above its ceiling") -> Latch:
    return Latch(printer, f"{printer}-1", "bed", "ceiling", reason, ("plug",))


@contextlib.contextmanager
def opened(folder: Path, *, room_bytes: int = 4000) -> Iterator[LatchStore]:
    port = OsFilePort(folder)
    try:
        yield LatchStore(port, ["anvil", "bramble"], room_bytes)
    finally:
        port.close()


def test_a_first_start_is_fresh_and_a_missing_file_of_a_used_system_is_damage(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        assert store.load(used_before=False).state == "fresh"
        assert store.load(used_before=True) == ({}, "both damaged", (), "the latch file is missing")
        (tmp_path / NAME).touch()
        assert store.load(used_before=True).state == "both damaged"


def test_what_was_saved_is_loaded_by_another_process_start(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        store.save({"anvil": latch("anvil")})
        size = (tmp_path / NAME).stat().st_size
        store.save({"anvil": latch("anvil"), "bramble": latch("bramble")})
    with opened(tmp_path) as store:
        loaded = store.load(used_before=True)
        assert loaded == ({"anvil": latch("anvil"), "bramble": latch("bramble")}, "good", ("anvil", "bramble"), "")
        store.save({})
    with opened(tmp_path) as store:
        assert store.load(used_before=True).latches == {}
    assert (tmp_path / NAME).stat().st_size == size
    assert (tmp_path / NAME).stat().st_mode & 0o777 == 0o600


def test_a_body_that_does_not_fit_gets_a_larger_file_and_no_half_file_stays_behind(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        store.save({"anvil": latch("anvil")})
        wordy = {"anvil": latch("anvil", "y" * 50_000)}
        store.save(wordy)
        store.save(wordy)
    with opened(tmp_path) as store:
        assert store.load(used_before=True).latches == wordy
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_a_file_removed_under_a_running_guard_is_written_again_by_the_next_save(tmp_path: Path) -> None:
    with opened(tmp_path) as store:
        store.save({})
        (tmp_path / NAME).unlink()
        store.save({"anvil": latch("anvil")})
    with opened(tmp_path) as store:
        assert set(store.load(used_before=True).latches) == {"anvil"}


def test_a_slot_holds_each_latch_as_its_own_json() -> None:
    anvil = Latch("anvil", "anvil-1", "bed", "ceiling", "hot", ("plug", "mains"), "", 131.5, {"plug": {"port": 1883, "tls": None}})
    assert orjson.loads(body_bytes({"anvil": anvil}, ["anvil"])) == {"latches": [anvil.to_json()], "printers": ["anvil"]}


def test_a_damaged_file_takes_a_latch_although_the_disk_is_full(small_disk: Path) -> None:
    with opened(small_disk) as store:
        store.save({})
    length = (small_disk / NAME).stat().st_size
    with (small_disk / NAME).open("r+b") as file:
        file.write(b"x" * length)
    fill(small_disk)
    with opened(small_disk) as store:
        assert store.load(used_before=True).state == "both damaged"
        store.save({"anvil": latch("anvil")})
    with opened(small_disk) as store:
        loaded = store.load(used_before=True)
        assert (loaded.state, set(loaded.latches)) == ("good", {"anvil"})


def test_a_slot_of_a_newer_format_is_not_guessed_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(tmp_path) as store, monkeypatch.context() as patch:
        patch.setattr("watchdog.latch.slot.FORMAT", 2)
        store.save({"anvil": latch("anvil")})
    with opened(tmp_path) as store:
        loaded = store.load(used_before=True)
    assert loaded.state == "both damaged"
    assert "format 2, and this version reads format 1" in loaded.why


class FailingPort(OsFilePort):
    """A disk whose syncs fail while `broken`; the kernel then drops what it could not write."""

    broken = False

    def sync(self, name: str) -> None:
        if self.broken:
            raise OSError(5, "Input/output error")
        super().sync(name)


def test_a_failed_sync_is_raised_and_the_whole_state_is_there_after_the_retry(tmp_path: Path) -> None:
    port = FailingPort(tmp_path)
    store = LatchStore(port)
    store.save({"anvil": latch("anvil")})
    good = (tmp_path / NAME).read_bytes()
    port.broken = True
    for _ in range(3):
        with pytest.raises(OSError, match="Input/output"):
            store.save({"anvil": latch("anvil"), "bramble": latch("bramble")})
    half = len(good) // 2
    now = (tmp_path / NAME).read_bytes()
    assert (now[:half] == good[:half]) != (now[half:] == good[half:]), "one slot must stay untouched until a sync has returned"
    port.broken = False
    store.save({"bramble": latch("bramble")})
    assert set(LatchStore(port).load(used_before=True).latches) == {"bramble"}
    port.close()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    if os.geteuid() != 0:
        pytest.skip("only root may mount the one-megabyte file system that this test fills")
    folder = tmp_path / "small"
    folder.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=False, capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no file system could be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


def fill(folder: Path) -> Path:
    filler = folder / "filler"
    with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    return filler


def test_a_full_disk_does_not_keep_a_latch_from_being_stored(small_disk: Path) -> None:
    """Row F55."""
    with opened(small_disk) as store:
        store.save({})
        filler = fill(small_disk)
        store.save({"anvil": latch("anvil")})
        with pytest.raises(OSError, match="No space left"):
            store.save({"anvil": latch("anvil", "z" * 200_000)})
        assert set(store.load(used_before=True).latches) == {"anvil"}
        filler.unlink()
        store.save({"anvil": latch("anvil", "z" * 200_000)})
    with opened(small_disk, room_bytes=400_000) as store:
        fill(small_disk)
        # More room is wanted than there is: the room that there is does.
        store.save({"bramble": latch("bramble")})
        assert set(store.load(used_before=True).latches) == {"bramble"}


def test_room_for_all_printers_at_once_holds_them(tmp_path: Path) -> None:
    everything = {f"printer-{number}": latch(f"printer-{number}") for number in range(300)}
    with opened(tmp_path, room_bytes=room_for(everything, everything)) as store:
        store.save({})
        before = (tmp_path / NAME).stat()
        store.save(everything)
        assert (tmp_path / NAME).stat().st_ino == before.st_ino
        assert store.load(used_before=True).latches == everything
