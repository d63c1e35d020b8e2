"""The little of a file system that the latch needs, so that tests can lose power between any two of its calls."""

import os
from pathlib import Path
from typing import Protocol


class FilePort(Protocol):
    """Files of one folder, by name. Sizes and offsets are bytes. Every call may raise OSError."""

    def size(self, name: str) -> int | None:
        """The size of the file; None when there is none."""

    def create(self, name: str, size: int) -> None:
        """A new file of `size` zero bytes, its space really taken; one of that name that stands already is emptied first."""

    def read(self, name: str, offset: int, length: int) -> bytes:
        """Up to `length` bytes; fewer at the end of the file."""

    def write(self, name: str, offset: int, data: bytes) -> None:
        """All of `data` in place. It may be lost, or be there in part, until `sync` has returned."""

    def sync(self, name: str) -> None:
        """Return once the bytes of the file are on the disk."""

    def rename(self, old: str, new: str) -> None:
        """Put `old` in the place of `new`, at once and whole. It may be undone by a power cut until `sync_folder` has returned."""

    def sync_folder(self) -> None:
        """Return once the names in the folder are on the disk."""


class OsFilePort:
    """The real thing. A file stays open once used: a process that has run out of descriptors can still latch."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._open: dict[str, int] = {}

    def size(self, name: str) -> int | None:
        try:
            return os.fstat(self._descriptor(name)).st_size
        except FileNotFoundError:
            return None

    def create(self, name: str, size: int) -> None:
        self._forget(name)
        flags = os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC
        self._open[name] = os.open(self._folder / name, flags, 0o600)
        # Zeros that were written, not a hole: a full disk must not be met later, when the file is overwritten.
        self.write(name, 0, bytes(size))

    def read(self, name: str, offset: int, length: int) -> bytes:
        descriptor, parts = self._descriptor(name), []
        while length > 0:
            part = os.pread(descriptor, length, offset)
            if not part:
                break
            parts.append(part)
            offset, length = offset + len(part), length - len(part)
        return b"".join(parts)

    def write(self, name: str, offset: int, data: bytes) -> None:
        descriptor, rest = self._descriptor(name), memoryview(data)
        while rest:
            written = os.pwrite(descriptor, rest, offset)
            offset, rest = offset + written, rest[written:]

    def sync(self, name: str) -> None:
        os.fdatasync(self._descriptor(name))

    def rename(self, old: str, new: str) -> None:
        descriptor = self._descriptor(old)
        (self._folder / old).rename(self._folder / new)
        self._forget(new)
        del self._open[old]
        self._open[new] = descriptor

    def sync_folder(self) -> None:
        descriptor = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def close(self) -> None:
        for name in list(self._open):
            self._forget(name)

    def _descriptor(self, name: str) -> int:
        """The open file, unless somebody removed or replaced it: then what stands under its name now."""
        descriptor = self._open.get(name)
        if descriptor is not None and self._is_still(name, descriptor):
            return descriptor
        self._forget(name)
        self._open[name] = os.open(self._folder / name, os.O_RDWR | os.O_CLOEXEC)
        return self._open[name]

    def _is_still(self, name: str, descriptor: int) -> bool:
        try:
            return os.path.samestat(os.fstat(descriptor), (self._folder / name).stat())
        except FileNotFoundError:
            return False

    def _forget(self, name: str) -> None:
        descriptor = self._open.pop(name, None)
        if descriptor is not None:
            os.close(descriptor)
