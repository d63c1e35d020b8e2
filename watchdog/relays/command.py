"""A program that opens a relay."""

import logging
import shutil
import threading
from typing import Final

from watchdog.core.inputs import RelayReport
from watchdog.relays.around import Around
from watchdog.relays.payload import shown
from watchdog.relays.program import Outcome, run
from watchdog.settings.addresses import CommandRelay

PATH: Final = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
ASK_AGAIN_S: Final = 1.0
ASKS_AFTER_OFF: Final = 5
LONGEST_LIMIT_S: Final = 60.0

log = logging.getLogger(__name__)


class CommandDriver:
    """Runs one program at a time in a thread of its own. OFF goes first: it stops an `ask` that is under way.

    Exit status 0 means that the command was sent; only `ask` says that the relay is off. After an OFF it asks at
    once, and again each second for a while. The argument lists are used as they stand in the settings, and the
    environment holds PATH, LANG, HEATWARDEN_RELAY (the relay's name) and HEATWARDEN_ORDER (off or ask): nothing
    that was heard from outside can reach the program.
    """

    def __init__(self, name: str, address: CommandRelay, around: Around) -> None:
        """Raises ValueError when the address cannot work."""
        _check(name, address)
        self.name = name
        self.errors = 0
        self._address = address
        self._around = around
        self._orders: list[int] = []
        self._changed = threading.Condition()
        self._stopping = False
        self._ask_at = around.now()
        self._missing = False
        self._asks_soon = 0
        self._thread = threading.Thread(target=self._work, name=f"relay {name}", daemon=True)

    def start(self) -> None:
        """Start the thread, which asks at once."""
        if not self._thread.is_alive():
            self._thread.start()

    def off(self, order: int) -> None:
        """Hand over to the thread. Orders that come while a program still runs are served by one further run."""
        with self._changed:
            working = self._thread.is_alive() and not self._stopping
            if working:
                self._orders.append(order)
                self._changed.notify()
        if not working:
            self._say(RelayReport(self.name, self._around.now(), sent=False, order=order, why="the driver is not running"))

    def stop(self) -> None:
        """Let an OFF end, but no `ask`; then end the thread."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
        if self._thread.is_alive():
            self._thread.join(timeout=2 * self._address.time_limit_s + 1.0)

    def _work(self) -> None:
        while True:
            try:
                orders = self._next()
                if orders is None:
                    return
                if orders:
                    self._run_off(orders)
                elif self._address.ask:
                    self._run_ask()
                else:
                    self._look()
            except Exception:  # this thread must never die
                self.errors += 1
                log.exception("relay %s: the driver failed and goes on", self.name)

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
            outcome = self._run(self._address.off, "off", stoppable=False)
        except Exception as error:  # noqa: BLE001 - an order must never end without an answer
            self.errors += 1
            outcome = Outcome(f"the driver failed: {error}")
        at = self._around.now()
        for order in orders:
            self._say(RelayReport(self.name, at, sent=not outcome.why, order=order, why=outcome.why))
        if self._address.ask:
            self._asks_soon = ASKS_AFTER_OFF
            self._ask_at = at

    def _look(self) -> None:
        """Where there is nothing to ask, at least a program that is gone is known before it is needed."""
        self._ask_at = self._around.now() + self._address.ask_every_s
        missing = shutil.which(self._address.off[0], path=PATH) is None
        if missing != self._missing:
            self._missing = missing
            why = f"not found or not executable: {self._address.off[0]}" if missing else ""
            self._say(RelayReport(self.name, self._around.now(), reachable=not missing, why=why))

    def _run_ask(self) -> None:
        self._ask_at = self._around.now() + (ASK_AGAIN_S if self._asks_soon > 0 else self._address.ask_every_s)
        outcome = self._run(self._address.ask, "ask", stoppable=True)
        with self._changed:
            # What was asked before an order is no evidence for it: it is thrown away, and asked again after the order.
            if outcome.stopped or self._orders:
                return
            at = self._around.now()
        self._asks_soon = max(0, self._asks_soon - 1)
        word = outcome.output.partition(b"\n")[0].strip()
        if outcome.why:
            self._say(RelayReport(self.name, at, reachable=False, why=f"asking failed: {outcome.why}"))
        elif word == b"off":
            self._asks_soon = 0
            self._say(RelayReport(self.name, at, reachable=True, state="off"))
        elif word == b"on":
            self._say(RelayReport(self.name, at, reachable=True, state="on"))
        else:
            why = f"asking printed {shown(word)}; its first line must be on or off"
            self._say(RelayReport(self.name, at, reachable=False, why=why))

    def _say(self, report: RelayReport) -> None:
        """One report that goes wrong must not swallow the ones after it."""
        try:
            self._around.report(report)
        except Exception:
            self.errors += 1
            log.exception("relay %s: a report was lost", self.name)

    def _run(self, argv: tuple[str, ...], order: str, *, stoppable: bool) -> Outcome:
        env = {"PATH": PATH, "LANG": "C.UTF-8", "HEATWARDEN_RELAY": self.name, "HEATWARDEN_ORDER": order}
        return run(
            argv,
            env,
            limit_s=self._address.time_limit_s,
            now=self._around.now,
            stop=lambda: stoppable and (bool(self._orders) or self._stopping),
        )


def _check(name: str, address: CommandRelay) -> None:
    if not address.off:
        raise ValueError("off is empty: it must be the program that opens the relay, and its arguments")
    if "\0" in name:
        raise ValueError("a relay's name cannot hold a NUL character")
    for part, argv in (("off", address.off), ("ask", address.ask)):
        if any("\0" in word for word in argv):
            raise ValueError(f"{part}: an argument cannot hold a NUL character")
        if argv and (not argv[0] or ("/" in argv[0] and not argv[0].startswith("/"))):
            raise ValueError(f"{part}: {argv[0]!r} must be a full path, or a plain name that is found in {PATH}")
    if not 0 < address.time_limit_s <= LONGEST_LIMIT_S:
        raise ValueError(f"time_limit_s is {address.time_limit_s:g}: more than 0 and at most {LONGEST_LIMIT_S:g} seconds are allowed")
    if address.ask_every_s <= 0:
        raise ValueError(f"ask_every_s is {address.ask_every_s:g}: it must be more than 0")
