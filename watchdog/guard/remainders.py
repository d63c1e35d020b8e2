"""Keeps across restarts what observing has used and what bypasses have left, in a small file that a thread of its own writes.

After a restart a bypass may have less left than it had, never more. Its time is taken from the clock of this boot, or from wall time
where that says more; after another boot nobody can say how long it has run, and it has ended. Hours that cannot be read count as used.
"""

import logging
import threading
from collections.abc import Callable
from pathlib import Path

from watchdog.core.remaining import Remaining, remaining_of
from watchdog.core.site import Site
from watchdog.core.values import JsonObject
from watchdog.guard.clock import Clock
from watchdog.guard.remainders_file import NAME, Stamp, as_file, read_file
from watchdog.latch.port import OsFilePort

log = logging.getLogger("heatwarden")

SAVE_EVERY_S = 60.0
"""What is used is saved at most this often. A killed guard loses what came since, so that this much is counted ahead."""

RETRY_S = 5.0

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Remainders:
    """Reads the file when it is made; `found` is what it says. `why` tells why it cannot be written; empty when all is well."""

    def __init__(self, folder: Path, clock: Clock, *, used_before: bool, boot_id: str | None = None) -> None:
        """`used_before`: a guard ran here, so that a missing file is a loss and no first start."""
        self._folder, self._clock = folder, clock
        self._boot_id = _boot_id() if boot_id is None else boot_id
        self.found: Remaining = read_file(folder, self._stamp(), clock.now(), used_before=used_before)
        self._used_before = dict(self.found.used_s or {})
        self._site: Site | None = None
        self._call: Callable[[Callable[[], None]], None] = lambda function: function()
        self._next: JsonObject | None = None
        self._written: JsonObject | None = None
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="remainders", daemon=True)
        self.why = ""

    def watch(self, site: Site, call: Callable[[Callable[[], None]], None]) -> None:
        """Keep what is left of this site. `call` has something done by the thread that feeds its engine."""
        self._site, self._call = site, call

    def start(self) -> None:
        """Begin, with what stands now."""
        self.keep()
        self._thread.start()

    def keep(self, ahead_s: float = SAVE_EVERY_S) -> None:
        """Have it written as it is now. For the thread that feeds the engine; returns at once."""
        if self._site is None:
            return
        at = self._clock.now()
        remaining = remaining_of(self._site, at)
        used = {key: max(used_s + ahead_s, self._used_before.get(key, 0.0)) for key, used_s in (remaining.used_s or {}).items()}
        self._next = {
            "used_s": [[*key, used_s] for key, used_s in (self._used_before | used).items()],
            "bypasses": [[*bypass[:-1], bypass.until - at] for bypass in remaining.bypasses],
            "stamp": self._stamp()._asdict(),
        }
        self._wake.set()

    def stop(self, within_s: float) -> bool:
        """Write how it ends, exactly; False when that took too long. The engine must be at rest."""
        self.keep(ahead_s=0.0)
        self._stopping.set()
        self._wake.set()
        if self._thread.ident is not None:
            self._thread.join(within_s)
        return not self._thread.is_alive()

    def _stamp(self) -> Stamp:
        return Stamp(self._boot_id, self._clock.now() + self._clock.slept_s(), self._clock.wall_us())

    def _run(self) -> None:
        while True:
            if not self._wake.wait(RETRY_S if self.why else SAVE_EVERY_S):
                self._call(self.keep)
                continue
            self._wake.clear()
            stopping = self._stopping.is_set()
            self._save()
            if stopping:
                return

    def _save(self) -> None:
        told = self._next
        if told is None or (self._written is not None and _without_stamp(told) == _without_stamp(self._written)):
            return
        try:
            _replace(self._folder, as_file(told))
        except Exception as error:  # noqa: BLE001 - whatever it is: it is tried again
            if not self.why:
                log.warning("%s cannot be written, a restart would not know what is bypassed or has observed: %s", NAME, error)
            self.why = str(error) or repr(error)
        else:
            self._written, self.why = told, ""


def _without_stamp(told: JsonObject) -> JsonObject:
    return {key: value for key, value in told.items() if key != "stamp"}


def _replace(folder: Path, content: bytes) -> None:
    """A new file in the place of the old one, whole at every moment."""
    port, new = OsFilePort(folder), f"{NAME}.new"
    try:
        port.create(new, len(content))
        port.write(new, 0, content)
        port.sync(new)
        port.rename(new, NAME)
        port.sync_folder()
    finally:
        port.close()


def _boot_id() -> str:
    """What tells one boot of this computer from another; empty when that cannot be told."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""
