"""What relays have in common that are opened by doing something, and asked what became of it: one thread each."""

import logging
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Final, NamedTuple

from watchdog.core.inputs import RelayReport, RelayState
from watchdog.relays.around import Around

ASK_AGAIN_S: Final = 1.0
ASKS_AFTER_OFF: Final = 5

log = logging.getLogger("heatwarden.relays")


class Told(NamedTuple):
    """What came of asking. `why` says why it told no state; `settled` that nothing more need be asked after an OFF."""

    why: str = ""
    state: RelayState | None = None
    power_w: float | None = None
    settled: bool = False
    stopped: bool = False


class Worker(ABC):
    """Does one thing at a time in a thread of its own. OFF goes first: it stops an ask that is under way.

    That an order was carried out means that it was sent; only asking says that the relay is off. After an OFF it asks
    at once, and again each second for a while.
    """

    def __init__(self, name: str, around: Around, *, asks: bool, ask_every_s: float, longest_s: float) -> None:
        """`longest_s` is how long one thing may take, in seconds."""
        self.name = name
        self.errors = 0
        self._around = around
        self._asks, self._ask_every_s, self._longest_s = asks, ask_every_s, longest_s
        self._orders: list[int] = []
        self._changed = threading.Condition()
        self._stopping = False
        self._ask_at = around.now()
        self._asks_soon = 0
        self._thread = threading.Thread(target=self._work, name=f"relay {name}", daemon=True)

    def start(self) -> None:
        """Start the thread, which asks at once."""
        if not self._thread.is_alive():
            self._thread.start()

    def off(self, order: int) -> None:
        """Hand over to the thread. Orders that come while an earlier one still runs are served together, once."""
        with self._changed:
            working = self._thread.is_alive() and not self._stopping
            if working:
                self._orders.append(order)
                self._changed.notify()
        if working:
            self._hurry()
        else:
            self._say(RelayReport(self.name, self._around.now(), sent=False, order=order, why="the driver is not running"))

    def stop(self) -> None:
        """Let an OFF end, but no ask; then end the thread."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        self._hurry()
        if self._thread.is_alive():
            self._thread.join(timeout=2 * self._longest_s + 1.0)

    @abstractmethod
    def _send_off(self) -> str:
        """Send OFF; empty when it was sent, or why not."""

    @abstractmethod
    def _ask(self) -> Told:
        """Ask what the relay is doing; `stopped` as soon as `_wanted` is true."""

    @abstractmethod
    def _look(self) -> str | None:
        """Where nothing can be asked: empty when the relay seems to be there, or why not; None when stopped."""

    def _prepare(self) -> None:  # noqa: B027 - not every kind needs it
        """In the thread, before all else: what would take time when it is needed."""

    def _hurry(self) -> None:  # noqa: B027 - not every kind needs it
        """An order came, or the end: what is under way and no OFF must end now. Never blocks, never raises."""

    def _words(self, error: Exception) -> str:
        """What may be told of a failure of the driver itself."""
        return f"{type(error).__name__}: {error}"

    def _wanted(self) -> bool:
        """True when something more important than asking is to be done."""
        return bool(self._orders) or self._stopping

    def _work(self) -> None:
        self._guarded(self._prepare)
        there: str | None = None
        while (orders := self._next()) is not None:
            if orders:
                self._run_off(orders)
            elif self._asks:
                self._guarded(self._run_ask)
            else:
                there = self._run_look(there)

    def _guarded(self, step: Callable[[], None]) -> None:
        """This thread must never die."""
        try:
            step()
        except Exception as error:  # noqa: BLE001 - see above
            self._failed(error)

    def _failed(self, error: Exception) -> None:
        self.errors += 1
        log.error("relay %s: the driver failed and goes on: %s", self.name, self._words(error))

    def _next(self) -> list[int] | None:
        """Wait for orders to serve, or for the time to ask (no orders), or for the end (None)."""
        with self._changed:
            while True:
                if self._orders:
                    orders, self._orders = self._orders, []
                    return orders
                if self._stopping:
                    return None
                left = self._ask_at - self._around.now()
                if left <= 0:
                    return []
                self._changed.wait(left)

    def _run_off(self, orders: list[int]) -> None:
        try:
            why = self._send_off()
        except Exception as error:  # noqa: BLE001 - an order must never end without an answer
            self._failed(error)
            why = f"the driver failed: {self._words(error)}"
        at = self._around.now()
        for order in orders:
            self._say(RelayReport(self.name, at, sent=not why, order=order, why=why))
        if self._asks:
            self._asks_soon = ASKS_AFTER_OFF
            self._ask_at = at

    def _run_ask(self) -> None:
        self._ask_at = self._around.now() + (ASK_AGAIN_S if self._asks_soon > 0 else self._ask_every_s)
        told = self._ask()
        with self._changed:
            # What was asked before an order is no evidence for it: it is thrown away, and asked again after the order.
            if told.stopped or self._orders:
                return
            at = self._around.now()
        self._asks_soon = max(0, self._asks_soon - 1)
        if told.settled:
            self._asks_soon = 0
            self._ask_at = at + self._ask_every_s
        self._say(RelayReport(self.name, at, reachable=told.state is not None, state=told.state, power_w=told.power_w, why=told.why))

    def _run_look(self, before: str | None) -> str | None:
        """Told when it changes only."""
        self._ask_at = self._around.now() + self._ask_every_s
        try:
            found = self._look()
        except Exception as error:  # noqa: BLE001 - this thread must never die
            self._failed(error)
            return before
        if found is None or found == before:
            return before
        self._say(RelayReport(self.name, self._around.now(), reachable=not found, why=found))
        return found

    def _say(self, report: RelayReport) -> None:
        """One report that goes wrong must not swallow the ones after it."""
        try:
            self._around.report(report)
        except Exception as error:  # noqa: BLE001 - see above
            self.errors += 1
            log.error("relay %s: a report was lost: %s", self.name, self._words(error))  # noqa: TRY400 - no trace: it could show a secret
