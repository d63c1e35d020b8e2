"""The file of marks as bytes: a header and one record a printer. Only the last byte of a record ever changes in place."""

import hashlib
import struct
import zlib
from collections.abc import Sequence
from typing import NamedTuple

MAGIC = b"HWMARKS\n"
FORMAT = 1
CLEAR = 0x5A
SET = 0xA5
"""Neither is what an erased or zeroed disk holds; whatever is not CLEAR counts as set."""

RECORD_BYTES = 128
HEADER_BYTES = RECORD_BYTES
STATE_OFFSET = RECORD_BYTES - 1
NAME_BYTES = 88
_HEADER = struct.Struct("<8sHxxI")
_IDENTITY = struct.Struct(f"<32sB{NAME_BYTES}s")
_CHECKSUM = struct.Struct("<I")


class Record(NamedTuple):
    """A printer's mark: the digest of its name, as much of the name as fits, and whether the mark stands."""

    digest: bytes
    name: str
    standing: bool


def digest_of(printer: str) -> bytes:
    """The key of a printer: SHA-256 of its name."""
    return hashlib.sha256(_utf8(printer)).digest()


def record_for(printer: str, *, standing: bool) -> Record:
    """A record for a printer."""
    return Record(digest_of(printer), printer, standing)


def state_offset(number: int) -> int:
    """Where in the file the state byte of record `number` (from 0) stands."""
    return HEADER_BYTES + number * RECORD_BYTES + STATE_OFFSET


def pack_table(records: Sequence[Record]) -> bytes:
    """The whole file."""
    header = _with_checksum(_HEADER.pack(MAGIC, FORMAT, len(records))).ljust(HEADER_BYTES, b"\0")
    return header + b"".join(_pack_record(record) for record in records)


def unpack_table(raw: bytes) -> tuple[list[Record], str]:
    """The records that are whole, in their order, and what is wrong with the file (empty when nothing is)."""
    if len(raw) < HEADER_BYTES:
        return [], f"it has {len(raw)} bytes, less than its header"
    magic, number, count = _HEADER.unpack_from(raw)
    if magic != MAGIC or not _checksum_fits(raw[:HEADER_BYTES], _HEADER.size):
        return [], "its header is damaged"
    if number != FORMAT:
        return [], f"it has format {number}, and this version reads format {FORMAT}"
    parts = [raw[start : start + RECORD_BYTES] for start in range(HEADER_BYTES, len(raw), RECORD_BYTES)]
    records = [record for record in map(_unpack_record, parts) if record is not None]
    if len(parts) != count:
        return records, f"it holds {len(parts)} records instead of {count}"
    if len(records) != count:
        return records, f"{count - len(records)} of its {count} records are damaged"
    return records, ""


def _pack_record(record: Record) -> bytes:
    name = _utf8(record.name)[:NAME_BYTES]
    identity = _with_checksum(_IDENTITY.pack(record.digest, len(name), name))
    return identity.ljust(STATE_OFFSET, b"\0") + bytes([SET if record.standing else CLEAR])


def _unpack_record(raw: bytes) -> Record | None:
    if len(raw) < RECORD_BYTES or not _checksum_fits(raw, _IDENTITY.size) or raw[STATE_OFFSET] not in {CLEAR, SET}:
        return None
    digest, length, name = _IDENTITY.unpack_from(raw)
    return Record(digest, name[:length].decode(errors="ignore"), raw[STATE_OFFSET] != CLEAR)


def _utf8(printer: str) -> bytes:
    return printer.encode(errors="backslashreplace")


def _with_checksum(fields: bytes) -> bytes:
    return fields + _CHECKSUM.pack(zlib.crc32(fields))


def _checksum_fits(raw: bytes, length: int) -> bool:
    (checksum,) = _CHECKSUM.unpack_from(raw, length)
    return bool(checksum == zlib.crc32(raw[:length]))
