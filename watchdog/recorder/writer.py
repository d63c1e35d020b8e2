"""The recorder's own thread: takes records, stores them, and keeps them while the database is in trouble."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from watchdog.recorder.backlog import Backlog
from watchdog.recorder.records import NOT_OPEN_YET, Record, RecorderHealth, StartRecord

if TYPE_CHECKING:
    from watchdog.recorder.retention import Retention
    from watchdog.recorder.session import Session

BATCH = 500
FIRST_RETRY_S = 0.25
LONGEST_RETRY_S = 30.0
IDLE_S = 60.0
NOTICES_AT_MOST = 20


class Recorder:
    """Stores what it is given, in a thread of its own. `put` may be called from any thread, also before `start`.

    `target` is the path of an SQLite file or a database URL; `now` gives engine seconds and `wall_us` UTC in
    microseconds. `limit` and `urgent_limit` bound the records that may wait. Events older than `keep_days` are deleted
    (None: never). The database library is loaded in the thread, so that making a Recorder costs nothing.
    """

    def __init__(
        self,
        target: Path | str,
        now: Callable[[], float],
        wall_us: Callable[[], int],
        *,
        keep_days: float | None = None,
        limit: int = 20_000,
        urgent_limit: int = 2_000,
    ) -> None:
        self._target = target
        self._now = now
        self._wall_us = wall_us
        self._keep_days = keep_days
        self._backlog = Backlog(limit, urgent_limit)
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._run_name = ""
        self._state = (False, now(), NOT_OPEN_YET)
        self._stored = 0
        self._notices: tuple[str, ...] = ()
        self._retry_s = FIRST_RETRY_S

    def start(self) -> None:
        self._thread.start()

    def put(self, record: Record) -> None:
        """Hand over a record. Never waits for the database, never raises."""
        self._backlog.put(record)

    def flush(self, timeout_s: float) -> bool:
        """True once everything put so far is committed; False when that took too long or a record was lost meanwhile."""
        return self._backlog.flush(timeout_s)

    def health(self) -> RecorderHealth:
        """How the recorder is; also "not ok" when its thread has ended."""
        ok, since, error = self._state
        alive = self._thread.is_alive()
        waiting, lost = self._backlog.waiting, self._backlog.lost
        return RecorderHealth(ok and alive, since, self._stored, lost, waiting, error if alive or error else "it is closed", self._notices)

    def close(self, timeout_s: float) -> bool:
        """Store what waits, at most for `timeout_s`, and end. False when something could not be stored and is lost."""
        lost = self._backlog.lost
        self._backlog.close()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        self._backlog.abandon()
        return self._backlog.lost == lost

    def _run(self) -> None:
        try:
            self._work()
        except Exception as error:  # noqa: BLE001 - shown in `health`; what waits is counted as lost by `close`
            self._trouble(f"the recorder cannot work: {type(error).__name__}: {error}")

    def _work(self) -> None:
        # Loaded here and not above: by now the guard is armed, and it may take its time.
        from watchdog.recorder.retention import Retention  # noqa: PLC0415 - see above
        from watchdog.recorder.session import Session  # noqa: PLC0415 - see above

        session = Session(self._target, self._now, self._wall_us, self._say)
        retention = Retention(self._keep_days) if self._keep_days is not None else None
        if retention is not None:
            retention.started(self._now())
        while self._turn(session, retention):
            pass
        session.close()

    def _turn(self, session: "Session", retention: "Retention | None") -> bool:
        """Store one batch, or wait for one. False when it is time to end."""
        sweeping = retention is not None and retention.wants(self._now())
        last_try = self._backlog.closed
        try:
            session.connect()
            if not self._state[0]:
                self._state = (True, self._now(), "")
            batch = [record for _, record in self._backlog.take(BATCH, 0.0 if sweeping else IDLE_S)]
            if batch:
                self._store(session, batch)
            elif sweeping and retention is not None:
                session.prune(retention, self._run_name)
            self._retry_s = FIRST_RETRY_S
        except Exception as error:  # noqa: BLE001 - the thread must outlive whatever a database can think of
            self._backlog.give_back()
            if retention is not None and sweeping:
                retention.put_off(self._now())
            self._trouble(session.failed(error))
            if last_try:
                return False
            self._backlog.wait_closed(self._retry_s)
            self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)
            return True
        return not (self._backlog.closed and not self._backlog.waiting)

    def _store(self, session: "Session", batch: list[Record]) -> None:
        for record in batch:
            if isinstance(record, StartRecord):
                self._run_name = record.run
        refused = session.store(batch)
        self._stored += len(batch) - len(refused)
        self._backlog.settle(len(refused))
        if refused:
            self._say(f"{len(refused)} records could not be stored, the first because of {refused[0]}.")

    def _trouble(self, error: str) -> None:
        ok, since, _ = self._state
        self._state = (False, self._now() if ok else since, error)

    def _say(self, notice: str) -> None:
        self._notices = (*self._notices, notice)[-NOTICES_AT_MOST:]
