"""A program that opens a relay."""

import shutil
from typing import Final

from watchdog.relays.around import Around
from watchdog.relays.payload import shown
from watchdog.relays.program import Outcome, run
from watchdog.relays.worker import Told, Worker
from watchdog.settings.addresses import CommandRelay

PATH: Final = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
LONGEST_LIMIT_S: Final = 60.0


class CommandDriver(Worker):
    """Runs one program at a time.

    Exit status 0 means that the command was sent; only `ask` says that the relay is off. The argument lists are used as
    they stand in the settings, and the environment holds PATH, LANG, HEATWARDEN_RELAY (the relay's name) and
    HEATWARDEN_ORDER (off or ask): nothing that was heard from outside can reach the program.
    """

    def __init__(self, name: str, address: CommandRelay, around: Around) -> None:
        """Raises ValueError when the address cannot work."""
        _check(name, address)
        super().__init__(name, around, asks=bool(address.ask), ask_every_s=address.ask_every_s, longest_s=address.time_limit_s)
        self._address = address
        self._missing = False

    def _send_off(self) -> str:
        return self._run(self._address.off, "off", stoppable=False).why

    def _ask(self) -> Told:
        outcome = self._run(self._address.ask, "ask", stoppable=True)
        if outcome.stopped:
            return Told(stopped=True)
        if outcome.why:
            return Told(f"asking failed: {outcome.why}")
        word = outcome.output.partition(b"\n")[0].strip()
        if word == b"off":
            return Told(state="off", settled=True)
        if word == b"on":
            return Told(state="on")
        return Told(f"asking printed {shown(word)}; its first line must be on or off")

    def _look(self) -> str | None:
        """At least a program that is gone is known before it is needed. That it is there says nothing about the relay."""
        missing = shutil.which(self._address.off[0], path=PATH) is None
        if not missing and not self._missing:
            return None
        self._missing = missing
        return f"not found or not executable: {self._address.off[0]}" if missing else ""

    def _run(self, argv: tuple[str, ...], order: str, *, stoppable: bool) -> Outcome:
        env = {"PATH": PATH, "LANG": "C.UTF-8", "HEATWARDEN_RELAY": self.name, "HEATWARDEN_ORDER": order}
        return run(argv, env, limit_s=self._address.time_limit_s, now=self._around.now, stop=lambda: stoppable and self._wanted())


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
