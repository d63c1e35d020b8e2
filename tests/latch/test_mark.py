"""The mark of a trip under way."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from watchdog.latch.mark import MarkFile
from watchdog.latch.mark_table import HEADER_BYTES, RECORD_BYTES

PRINTERS = ["anvil", "bramble", "cinder"]


def test_a_file_that_never_existed_holds_no_mark(tmp_path: Path) -> None:
    marks = MarkFile(tmp_path / "marks", PRINTERS)
    assert marks.standing() == (frozenset(), 0)
    assert marks.damage == ""
    marks.close()


def test_a_mark_set_right_before_kill_9_stands_at_the_next_start(tmp_path: Path) -> None:
    """Row F43."""
    path = tmp_path / "marks"
    code = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom watchdog.latch.mark import MarkFile\n"
        "marks = MarkFile(Path(sys.argv[1]), ['anvil', 'bramble', 'cinder'])\n"
        "marks.set('bramble'); os.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.run([sys.executable, "-c", code, path], check=False, timeout=30)
    assert done.returncode == -signal.SIGKILL
    marks = MarkFile(path, PRINTERS)
    assert marks.standing() == (frozenset({"bramble"}), 0)
    marks.clear("bramble")
    marks.close()
    again = MarkFile(path, PRINTERS)
    assert again.standing() == (frozenset(), 0)
    again.close()


def test_marks_follow_the_names_when_printers_are_reordered_removed_and_added(tmp_path: Path) -> None:
    path = tmp_path / "marks"
    first = MarkFile(path, PRINTERS)
    first.set("anvil")
    first.set("cinder")
    first.close()
    second = MarkFile(path, ["cinder", "bramble", *(f"new-{number}" for number in range(100))])
    assert second.standing() == (frozenset({"cinder"}), 1)
    assert second.removed() == ("anvil",)
    second.set("new-99")
    second.close()
    third = MarkFile(path, [*PRINTERS, "new-99"])
    assert third.standing() == (frozenset({"anvil", "cinder", "new-99"}), 0)
    third.close()
    fourth = MarkFile(path, ["bramble"])
    assert sorted(fourth.removed()) == ["anvil", "cinder", "new-99"]
    fourth.clear("anvil")
    assert fourth.standing() == (frozenset(), 2)
    with pytest.raises(KeyError):
        fourth.set("anvil")
    fourth.close()


def test_a_name_too_long_to_be_stored_whole_still_keeps_its_mark(tmp_path: Path) -> None:
    long, other = "ü" * 200, "ü" * 200 + "!"
    first = MarkFile(tmp_path / "marks", [long, other])
    first.set(other)
    first.close()
    second = MarkFile(tmp_path / "marks", [other, long])
    assert second.standing() == (frozenset({other}), 0)
    second.close()
    third = MarkFile(tmp_path / "marks", ["anvil"])
    (name,) = third.removed()
    assert name == "ü" * 44
    third.clear(other)
    assert third.standing() == (frozenset(), 0)
    third.close()


def test_a_file_damaged_at_any_byte_or_cut_anywhere_lets_all_marks_stand(tmp_path: Path) -> None:
    path = tmp_path / "marks"
    MarkFile(path, PRINTERS).close()
    good = path.read_bytes()
    assert len(good) == HEADER_BYTES + 3 * RECORD_BYTES
    damaged = [good[:length] for length in range(0, len(good), 7)] + [bytes(len(good)), os.urandom(len(good)), good + b"x"]
    damaged += [good[:at] + bytes(RECORD_BYTES) + good[at + RECORD_BYTES :] for at in range(0, len(good), RECORD_BYTES)]
    for content in damaged:
        path.write_bytes(content)
        marks = MarkFile(path, PRINTERS)
        assert marks.standing()[0] == frozenset(PRINTERS)
        assert marks.damage
        marks.close()
        # They go on standing until a person resets them, although the file itself is good again.
        again = MarkFile(path, PRINTERS)
        assert again.standing()[0] == frozenset(PRINTERS)
        assert not again.damage
        again.close()


def test_a_flipped_bit_never_hides_a_standing_mark(tmp_path: Path) -> None:
    path = tmp_path / "marks"
    marks = MarkFile(path, ["anvil"])
    marks.set("anvil")
    marks.close()
    good = path.read_bytes()
    for bit in range(8 * len(good)):
        content = bytearray(good)
        content[bit // 8] ^= 1 << bit % 8
        path.write_bytes(content)
        again = MarkFile(path, ["anvil"])
        assert again.standing()[0] == {"anvil"}
        again.close()


def test_a_damaged_record_of_one_printer_keeps_the_mark_of_a_removed_one(tmp_path: Path) -> None:
    path = tmp_path / "marks"
    first = MarkFile(path, PRINTERS)
    first.set("cinder")
    first.close()
    content = bytearray(path.read_bytes())
    content[HEADER_BYTES] ^= 255
    path.write_bytes(content)
    second = MarkFile(path, ["bramble"])
    assert second.removed() == ("cinder",)
    assert second.standing() == (frozenset({"bramble"}), 1)
    second.close()


def test_marks_can_be_kept_in_memory_alone() -> None:
    marks = MarkFile(None, PRINTERS)
    marks.set("anvil")
    marks.sync()
    assert marks.standing() == (frozenset({"anvil"}), 0)
    marks.close()


def test_setting_a_mark_makes_no_system_call(tmp_path: Path) -> None:
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom watchdog.latch.mark import MarkFile\n"
        "marks = MarkFile(Path(sys.argv[1]), ['anvil'])\nos.getppid()\n"
        "for _ in range(1000): marks.set('anvil')\nos.getppid()"
    )
    trace = tmp_path / "trace"
    command = ["strace", "-o", str(trace), sys.executable, "-c", code, str(tmp_path / "marks")]
    try:
        done = subprocess.run(command, check=False, timeout=60, capture_output=True, text=True)
    except FileNotFoundError:
        pytest.skip("strace is not installed")
    if done.returncode:
        pytest.skip(f"strace cannot trace here: {done.stderr.strip()[:200]}")
    lines = trace.read_text(errors="replace").splitlines()
    begin, end = (number for number, line in enumerate(lines) if "getppid" in line)
    assert end == begin + 1, lines[begin : end + 1]
