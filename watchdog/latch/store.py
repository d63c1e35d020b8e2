"""The file of standing latches: two slots, each written in place, so that one of them is whole at every moment."""

from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

from watchdog.core.latch import Latch
from watchdog.latch.port import FilePort
from watchdog.latch.slot import HEADER_BYTES, Body, Slot, body_bytes, pack, unpack

State = Literal["fresh", "good", "one slot damaged", "both damaged"]

NAME = "latches"
NEW_NAME = "latches.new"
PAGE_BYTES = 4096
"""Slots begin on a page, so that a torn write in one never touches the other."""


class Loaded(NamedTuple):
    """What the latch file says. After "both damaged", treat every printer as latched; `why` tells people what was found."""

    latches: dict[str, Latch]
    state: State
    known_printers: tuple[str, ...]
    why: str = ""


def room_for(latches: Mapping[str, Latch], known_printers: Iterable[str]) -> int:
    """How many bytes to set aside for these latches standing all at once, with as much again for longer sentences."""
    return 2 * len(body_bytes(latches, known_printers))


class LatchStore:
    """Reads and writes the latch file. For one thread. `room_bytes` is the least room for the body of a slot.

    A save that fits is an overwrite of space that the file already owns, so that a full disk cannot stop it. (On a
    file system that copies on write, an overwrite takes new space too: keep the latch on one that does not.)
    """

    def __init__(self, port: FilePort, printers: Iterable[str] = (), room_bytes: int = 64 * 1024) -> None:
        self._port = port
        self._printers = tuple(printers)
        self._least_slot_bytes = _slot_bytes_for(room_bytes)
        self._slot_bytes = 0
        self._counter = 0
        self._newest = 1
        self._looked = False
        self._folder_owed = False

    def load(self, *, used_before: bool) -> Loaded:
        """What stands. Raises OSError when the file cannot be read; then nothing is known.

        `used_before`: the caller has other signs that a guard ran here, so that a missing or empty file is damage and
        no first start.
        """
        size = self._port.size(NAME)
        if not size:
            what = "missing" if size is None else "empty"
            return Loaded({}, "both damaged", (), f"the latch file is {what}") if used_before else Loaded({}, "fresh", ())
        slots, why = self._look(size)
        whole = [slot for slot in slots if slot is not None]
        if not whole:
            return Loaded({}, "both damaged", (), why)
        newest: Body = max(whole, key=lambda slot: slot.counter).body
        return Loaded(newest.latches, "good" if len(whole) == len(slots) else "one slot damaged", newest.known_printers, why)

    def save(self, latches: Mapping[str, Latch]) -> None:
        """Store these latches in place of all earlier ones; once this returned, they survive a power cut.

        Both slots are written, one after the other: the older one first, so that a cut loses nothing, then the
        other, so that a slot that rots later takes nothing with it either. Raises OSError; then call it again.
        """
        body = body_bytes(latches, self._printers)
        size = self._port.size(NAME)
        if not self._looked and size:
            self._look(size)
        fits = bool(size) and HEADER_BYTES + len(body) <= self._slot_bytes
        if not fits or size != 2 * self._slot_bytes or self._slot_bytes < self._least_slot_bytes:
            # A file with too little room is exchanged where that can be done, and used as it is where not.
            try:
                self._write_new_file(body)
            except OSError:
                if not fits:
                    raise
            else:
                return
        # The other slot becomes the newest only once its bytes are on the disk: after a failed write, the same one
        # is written again, whole, because a kernel forgets the pages that it could not write.
        for _ in range(2):
            slot = 1 - self._newest
            self._port.write(NAME, slot * self._slot_bytes, pack(self._counter + 1, self._slot_bytes, body))
            self._port.sync(NAME)
            self._newest, self._counter = slot, self._counter + 1
        self._settle_folder()

    def _look(self, size: int) -> tuple[list[Slot | None], str]:
        """Read both slots, and remember which is the newest and how large they are."""
        whole = self._port.read(NAME, 0, size)
        found: list[Slot | None] = []
        problems = []
        slot_bytes = size // 2
        for number in range(2):
            start = number * slot_bytes
            try:
                slot = unpack(whole[start : start + slot_bytes] if number else whole)
            except ValueError as error:
                found.append(None)
                problems.append(f"slot {number + 1} of the latch file: {error}")
            else:
                found.append(slot)
                # The first slot knows where the second one begins, even in a file that has lost its end.
                slot_bytes = slot.slot_bytes
        counters = [slot.counter if slot else 0 for slot in found]
        self._slot_bytes, self._counter, self._looked = slot_bytes, max(counters), True
        self._newest = 0 if counters[0] > counters[1] else 1
        return found, "; ".join(problems)

    def _write_new_file(self, body: bytes) -> None:
        """Put a file with room enough in the place of the old one, which stays whole until the very rename."""
        slot_bytes = max(self._least_slot_bytes, self._slot_bytes)
        if HEADER_BYTES + len(body) > slot_bytes:
            slot_bytes = _slot_bytes_for(2 * len(body))
        self._port.create(NEW_NAME, 2 * slot_bytes)
        for number in range(2):
            self._port.write(NEW_NAME, number * slot_bytes, pack(self._counter + 1 + number, slot_bytes, body))
        self._port.sync(NEW_NAME)
        self._port.rename(NEW_NAME, NAME)
        self._slot_bytes, self._counter, self._newest, self._looked = slot_bytes, self._counter + 2, 1, True
        self._folder_owed = True
        self._settle_folder()

    def _settle_folder(self) -> None:
        """A rename that may not be on the disk yet is owed until the folder was synced, also by a later save."""
        if self._folder_owed:
            self._port.sync_folder()
            self._folder_owed = False


def _slot_bytes_for(body_length: int) -> int:
    return -(-(HEADER_BYTES + body_length) // PAGE_BYTES) * PAGE_BYTES
