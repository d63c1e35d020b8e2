"""The order in which waiting records are taken, given back and lost."""

import threading

from rig.recording import Run, engine_s

from watchdog.recorder.backlog import Backlog
from watchdog.recorder.records import Record


def seqs(backlog: Backlog, most: int) -> list[int]:
    return [record.seq for _, record in backlog.take(most, 0.0)]


def backlog_with(*records: Record, limit: int = 100) -> Backlog:
    backlog = Backlog(limit, 100)
    for record in records:
        backlog.put(record)
    return backlog


def test_a_trip_overtakes_what_waits_and_a_batch_keeps_the_order_of_arrival() -> None:
    run = Run()
    backlog = backlog_with(*(run.event() for _ in range(10)), run.trip(), run.event("reset", trip="anvil-1"), run.event("relay sent"))
    assert seqs(backlog, 4) == [1, 2, 11, 12]
    backlog.settle()
    assert seqs(backlog, 100) == [*range(3, 11), 13]
    assert backlog.waiting == 9
    backlog.settle()
    assert (backlog.waiting, backlog.lost) == (0, 0)


def test_what_could_not_be_stored_comes_back_in_its_order_behind_newer_trips_only() -> None:
    run = Run()
    backlog = backlog_with(*(run.event() for _ in range(6)), run.trip("anvil-1"))
    assert seqs(backlog, 4) == [1, 2, 3, 7]
    backlog.put(run.trip("anvil-2"))
    backlog.give_back()
    assert seqs(backlog, 2) == [7, 8]
    backlog.settle()
    for expected in ([1], [2], [3]):
        assert seqs(backlog, 1) == expected
        backlog.settle()
    assert seqs(backlog, 9) == [4, 5, 6]


def test_records_given_back_to_a_full_queue_are_the_oldest_and_go_first() -> None:
    run = Run()
    backlog = backlog_with(*(run.event() for _ in range(3)), limit=3)
    assert seqs(backlog, 2) == [1, 2]
    for _ in range(2):
        backlog.put(run.event())
    backlog.give_back()
    assert backlog.lost == 2
    assert seqs(backlog, 9) == [3, 4, 5]


def test_a_flush_waits_for_what_came_before_it_and_not_for_what_comes_after() -> None:
    run = Run()
    backlog = backlog_with(run.event(), run.event())
    assert not backlog.flush(0.01)
    assert seqs(backlog, 2) == [1, 2]
    assert not backlog.flush(0.01), "in hand is not stored"
    done: list[bool] = []
    waiter = threading.Thread(target=lambda: done.append(backlog.flush(10)))
    before = engine_s()
    waiter.start()
    # Until the waiter has looked, what is put would count as put before its flush: so nothing is put before that.
    while not backlog._changed._waiters:  # type: ignore[attr-defined]
        assert engine_s() - before < 10
    backlog.put(run.event())
    backlog.settle()
    waiter.join(10)
    assert done == [True]
    assert backlog.waiting == 1


def test_a_closed_backlog_hands_out_what_it_has_and_counts_what_comes_later_as_lost() -> None:
    run = Run()
    backlog = backlog_with(run.event(), run.event())
    backlog.close()
    backlog.put(run.event())
    assert backlog.wait_closed(0.0)
    assert (backlog.lost, backlog.closed, seqs(backlog, 9)) == (1, True, [1, 2])
    backlog.abandon()
    assert (backlog.lost, backlog.waiting) == (3, 0)
