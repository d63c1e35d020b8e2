"""Old events go, little by little. Trips stay for ever, and so do the events that tell of them."""

from dataclasses import dataclass, field

from sqlalchemy import Connection, delete, func, select

from watchdog.recorder.tables import events

_DAY_S = 86_400.0


@dataclass(slots=True)
class Retention:
    """Deletes events older than `keep_days`, in sweeps every `every_s` of engine time, in steps of `window` ids.

    A wall clock cannot be trusted with this alone: a board without a clock starts years in the past, and months pass
    in a moment when the time of the network arrives. So, besides being old by the wall clock,
    - an event of this run must be old by engine time too, which never jumps;
    - the newest `floor` ids are never touched, whatever any clock says;
    - a sweep deletes at most `share` of the ids there are, so that a wrong clock has to stay wrong for many days, in
      sight of its owner, before it has cost the better part of the record;
    - the first sweep waits `first_s` after the start, for the clock to be set.
    """

    keep_days: float
    floor: int = 10_000
    share: float = 0.1
    window: int = 500
    every_s: float = _DAY_S
    first_s: float = 3600.0
    _next_at: float = field(default=float("inf"), init=False)
    _cursor: int = field(default=0, init=False)
    _last: int = field(default=-1, init=False)
    _budget: int = field(default=0, init=False)

    def started(self, engine_s: float) -> None:
        self._next_at = engine_s + self.first_s

    def wants(self, engine_s: float) -> bool:
        """True when a sweep is due or under way."""
        return self._cursor < self._last or engine_s >= self._next_at

    def put_off(self, engine_s: float) -> None:
        """Something went wrong: try again with the next sweep."""
        self._cursor, self._last, self._next_at = 0, -1, engine_s + self.every_s

    def step(self, connection: Connection, run: str, wall_us: int, engine_s: float) -> int:
        """One short transaction; returns how many events it deleted."""
        if self._cursor >= self._last:
            self._begin(connection, engine_s)
        upto = min(self._cursor + self.window, self._last)
        keep_s = self.keep_days * _DAY_S
        old = (events.c.wall_us < wall_us - int(keep_s * 1e6)) & ((events.c.run != run) | (events.c.engine_s < engine_s - keep_s))
        chosen = select(events.c.id).where(events.c.id > self._cursor, events.c.id <= upto, events.c.trip == "", old)
        with connection.begin():
            numbers = list(connection.scalars(chosen.order_by(events.c.id).limit(self._budget)))
            if numbers:
                connection.execute(delete(events).where(events.c.id.in_(numbers)))
        self._budget -= len(numbers)
        self._cursor = upto if self._budget else self._last
        return len(numbers)

    def _begin(self, connection: Connection, engine_s: float) -> None:
        with connection.begin():
            oldest, newest = connection.execute(select(func.min(events.c.id), func.max(events.c.id))).one()
        self._next_at = engine_s + self.every_s
        if newest is None:
            self._cursor, self._last, self._budget = 0, 0, 0
            return
        self._cursor, self._last = oldest - 1, newest - self.floor
        self._budget = max(1, int((newest - oldest + 1) * self.share))
