"""One slot of the latch file: a header with a checksum, and a JSON body. Bytes to values and back."""

import hashlib
import struct
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import orjson

from watchdog.core.latch import Latch

MAGIC = b"HWLATCH\n"
FORMAT = 1
_FIELDS = struct.Struct("<8sHxxIQQ")
HEADER_BYTES = _FIELDS.size + hashlib.sha256().digest_size


class Body(NamedTuple):
    """What a slot holds: every standing latch by its printer, and the printers that were known when it was written."""

    latches: dict[str, Latch]
    known_printers: tuple[str, ...]


class Slot(NamedTuple):
    """A slot that was found whole. The higher `counter` is the newer one; `slot_bytes` is the size of each slot of its file."""

    counter: int
    slot_bytes: int
    body: Body


def body_bytes(latches: Mapping[str, Latch], known_printers: Iterable[str]) -> bytes:
    """The body of a slot as JSON: each latch as its `to_json`, which the encoder writes by itself and much faster."""
    return orjson.dumps({"latches": list(latches.values()), "printers": list(known_printers)})


def pack(counter: int, slot_bytes: int, body: bytes) -> bytes:
    """Header and body, ready to be written at the start of a slot."""
    fields = _FIELDS.pack(MAGIC, FORMAT, slot_bytes, counter, len(body))
    return fields + hashlib.sha256(fields + body).digest() + body


def unpack(raw: bytes) -> Slot:
    """The slot that begins at the start of `raw`; raises ValueError, with the reason, on anything that is not whole."""
    if len(raw) < HEADER_BYTES:
        raise ValueError(f"{len(raw)} bytes are left of it")
    magic, number, slot_bytes, counter, length = _FIELDS.unpack_from(raw)
    body = raw[HEADER_BYTES : HEADER_BYTES + length]
    checksum = hashlib.sha256(raw[: _FIELDS.size] + body).digest()
    if magic != MAGIC:
        raise ValueError("it does not begin like a latch slot")
    if len(body) != length or checksum != raw[_FIELDS.size : HEADER_BYTES]:
        raise ValueError("its checksum does not fit its content")
    if number != FORMAT:
        raise ValueError(f"it has format {number}, and this version reads format {FORMAT}")
    return Slot(counter, slot_bytes, _body(body))


def _body(raw: bytes) -> Body:
    try:
        saved = orjson.loads(raw)
        latches = [Latch.from_json(latch) for latch in saved["latches"]]
        return Body({latch.printer: latch for latch in latches}, tuple(str(name) for name in saved["printers"]))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ValueError(f"its body cannot be understood ({type(error).__name__}: {error})") from error
