"""The mark: the first thing a trip does. One byte in a memory-mapped file, which outlives the process that set it."""

import mmap
import os
from collections.abc import Sequence
from pathlib import Path

from watchdog.latch.mark_table import CLEAR, SET, Record, digest_of, pack_table, record_for, state_offset, unpack_table
from watchdog.latch.port import OsFilePort


class MarkFile:
    """One mark a printer, kept by the printer's name: renamed, removed and re-ordered printers keep theirs.

    Survives the death of the process, not of the host: that is the latch file's part. So the best place for it is a
    memory file system that outlives a restart of the service; on a disk, the first store after a write-back may have
    to wait for that disk. `path` None keeps the marks in memory alone, for a guard that has no place to write.

    Raises OSError when the file can be neither read nor written; then treat every printer as marked.
    """

    def __init__(self, path: Path | None, printers: Sequence[str]) -> None:
        self._descriptor: int | None = None
        self.damage = ""
        """What was wrong with the file, for people; empty when it was good or never existed. Then all marks stand."""
        records = self._load(path, printers)
        self._map = self._open(path, records)
        self._records = records
        self._numbers = {record.digest: number for number, record in enumerate(records)}
        self._offsets = {printer: state_offset(self._numbers[digest_of(printer)]) for printer in printers}

    def set(self, printer: str) -> None:
        """Put the mark of a printer: a store into memory, no system call. KeyError for a printer that was not given."""
        self._map[self._offsets[printer]] = SET

    def clear(self, printer: str) -> None:
        """Take a printer's mark away, also that of a removed printer, by its name. KeyError when there is none such."""
        self._map[state_offset(self._numbers[digest_of(printer)])] = CLEAR

    def standing(self) -> tuple[frozenset[str], int]:
        """The given printers whose mark stands, and how many marks stand of printers that are no longer configured."""
        known = frozenset(printer for printer, offset in self._offsets.items() if self._map[offset] != CLEAR)
        return known, len(self.removed())

    def removed(self) -> tuple[str, ...]:
        """The names (cut short when they are very long) of printers no longer configured whose mark stands."""
        ours = set(self._offsets.values())
        offsets = ((state_offset(number), record.name) for number, record in enumerate(self._records))
        return tuple(name for offset, name in offsets if offset not in ours and self._map[offset] != CLEAR)

    def sync(self) -> None:
        """Return once the marks are on the disk. May take long: never from the guard's loop. Raises OSError."""
        # Not mmap.flush, which would hold the interpreter's lock meanwhile; for a shared mapping both do the same.
        if self._descriptor is not None:
            os.fdatasync(self._descriptor)

    def close(self) -> None:
        self._map.close()
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _load(self, path: Path | None, printers: Sequence[str]) -> list[Record]:
        """The records as they stand in the file, which is written anew if it lacks a printer or is damaged."""
        raw = _read(path) if path is not None else None
        found, self.damage = unpack_table(raw) if raw is not None else ([], "")
        by_digest = {record.digest: record for record in found}
        missing = [printer for printer in printers if digest_of(printer) not in by_digest]
        if raw is not None and not missing and not self.damage:
            return found
        wanted = {digest_of(printer): printer for printer in printers}
        others = [record for record in found if record.digest not in wanted and record.standing]
        ours = [record_for(name, standing=bool(self.damage) or self._stands(by_digest.get(digest))) for digest, name in wanted.items()]
        if path is not None:
            _replace(path, pack_table(ours + others))
        return ours + others

    @staticmethod
    def _stands(record: Record | None) -> bool:
        return record is not None and record.standing

    def _open(self, path: Path | None, records: Sequence[Record]) -> mmap.mmap:
        content = pack_table(records)
        if path is None:
            memory = mmap.mmap(-1, len(content))
            memory[:] = content
            return memory
        self._descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        return mmap.mmap(self._descriptor, len(content))


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None


def _replace(path: Path, content: bytes) -> None:
    """A new file in the place of the old one, its space really taken: a hole in it would be a fault at the first store."""
    port, new = OsFilePort(path.parent), path.name + ".new"
    try:
        port.create(new, len(content))
        port.write(new, 0, content)
        port.sync(new)
        port.rename(new, path.name)
        port.sync_folder()
    finally:
        port.close()
