"""Payloads written byte by byte, by the rules of the protobuf wire format and the numbers of the standard.

Nothing here uses a protobuf library. Protocol Buffers "Encoding": a field begins with the varint of
(number << 3) | type; type 0 is a varint, 1 eight bytes and 5 four bytes, little-endian, 2 a length and so
many bytes. The field numbers are those of ISO/IEC 20237:2023, chapter 6.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable

INT8, INT32, INT64, UINT64, FLOAT, DOUBLE, BOOLEAN, STRING = 1, 3, 4, 8, 9, 10, 11, 12
VARINT, EIGHT, BYTES, FOUR = 0, 1, 2, 5
T0_MS = 1_764_000_000_000  # 2025-11-24T16:00:00Z


def varint(number: int) -> bytes:
    """Seven bits a byte, lowest first, the high bit set in all but the last."""
    out = bytearray()
    while True:
        low, number = number & 0x7F, number >> 7
        out.append(low | (0x80 if number else 0))
        if not number:
            return bytes(out)


def tag(number: int, kind: int) -> bytes:
    return varint(number << 3 | kind)


def whole(number: int, value: int) -> bytes:
    return tag(number, VARINT) + varint(value)


def chunk(number: int, value: bytes) -> bytes:
    return tag(number, BYTES) + varint(len(value)) + value


def text(number: int, value: str) -> bytes:
    return chunk(number, value.encode())


def metric(
    name: str | None = None,
    value: object = None,
    *,
    alias: int | None = None,
    at_ms: int | None = T0_MS,
    datatype: int | None = None,
    historical: bool = False,
    null: bool = False,
    quality: int | None = None,
) -> bytes:
    """One metric: its fields by number, its value in the field of its Python type."""
    out = b""
    if name is not None:
        out += text(1, name)
    if alias is not None:
        out += whole(2, alias)
    if at_ms is not None:
        out += whole(3, at_ms)
    if datatype is not None:
        out += whole(4, datatype)
    if historical:
        out += whole(5, 1)
    if null:
        out += whole(7, 1)
    if quality is not None:
        value_of_property = whole(1, INT32) + whole(3, quality)
        out += chunk(9, text(1, "Quality") + chunk(2, value_of_property))
    return out + _value(value, datatype)


def _value(value: object, datatype: int | None) -> bytes:
    out = b""
    if isinstance(value, bool):
        out = whole(14, int(value))
    elif isinstance(value, int):
        long = datatype in {INT64, UINT64} or value > 0xFFFFFFFF
        out = whole(11, value & 0xFFFFFFFFFFFFFFFF) if long else whole(10, value & 0xFFFFFFFF)
    elif isinstance(value, float):
        number, kind, form = (12, FOUR, "<f") if datatype == FLOAT else (13, EIGHT, "<d")
        out = tag(number, kind) + struct.pack(form, value)
    elif isinstance(value, str):
        out = text(15, value)
    return out


def payload(metrics: Iterable[bytes] = (), *, seq: int | None = None, at_ms: int | None = T0_MS) -> bytes:
    """A payload: time, metrics, sequence number."""
    out = b"" if at_ms is None else whole(1, at_ms)
    out += b"".join(chunk(2, each) for each in metrics)
    return out if seq is None else out + whole(3, seq)
