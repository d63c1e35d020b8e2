"""How `heatwarden run` decides who is started again, and when. What it really does: tests/faults/test_supervisor.py."""

import queue
from pathlib import Path

import pytest

from watchdog.cli.run import LONGEST_PAUSE_S, PAUSE_S, SOON_S, Child, Ended, how, is_final
from watchdog.guard.lock import StateLock


def child(*, steady: bool) -> Child:
    ended: queue.SimpleQueue[Ended | None] = queue.SimpleQueue()
    return Child("guard" if steady else "front", [], ended, steady=steady, due_at=0.0)


def test_a_guard_is_always_due_again_after_the_same_short_pause() -> None:
    guard = child(steady=True)
    for at in range(1, 30):
        guard.has_ended(-9, float(at))
        assert guard.due_at == at + PAUSE_S


def test_a_front_that_ends_again_and_again_waits_longer_and_never_for_ever() -> None:
    front = child(steady=False)
    pauses = []
    for _ in range(8):
        front.has_ended(1, 1.0)
        pauses.append(front.due_at - 1.0)
    assert pauses == sorted(pauses)
    assert pauses[-1] == LONGEST_PAUSE_S
    front.has_ended(1, SOON_S + 1.0)
    assert front.due_at == SOON_S + 1.0 + PAUSE_S


def test_a_guard_that_found_another_one_is_not_started_again(tmp_path: Path) -> None:
    lock = StateLock(tmp_path)
    assert is_final(1, tmp_path)
    lock.release()
    assert not is_final(1, tmp_path), "nobody holds the state: it was an interpreter that failed"
    assert not is_final(1, tmp_path / "nowhere")


@pytest.mark.parametrize(("code", "final"), [(78, True), (0, False), (70, False), (75, False), (2, False), (-9, False), (-6, False)])
def test_only_settings_that_cannot_be_run_end_it_besides(code: int, final: object, tmp_path: Path) -> None:
    assert is_final(code, tmp_path) is final


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (-9, "by signal 9 (Killed)"),
        (-15, "by signal 15 (Terminated)"),
        (75, "with 75, because its loop stood still"),
        (70, "with 70, after a fault of its own"),
        (3, "with 3"),
    ],
)
def test_how_it_ended_is_put_in_words(code: int, said: str) -> None:
    assert how(code) == said
