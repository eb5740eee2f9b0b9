"""Which encoding the first bytes of a file are in, and whether they are text at all.

References
----------
The Unicode Standard, chapter 23.8: the byte order mark. RFC 3629: what is well-formed UTF-8, which text in
another encoding hardly ever is by chance.
"""

from __future__ import annotations

import codecs
import re

from collector.errors import UserError
from collector.sources.inspection.doubts import Doubts

# First bytes of what people take for a CSV file, by the formats' own published signatures.
_SIGNATURES = {
    b"PK\x03\x04": "a workbook or an archive",
    b"\xd0\xcf\x11\xe0": "an old workbook",
    b"\x1f\x8b": "compressed",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"PAR1": "a Parquet file",
    b"SQLite format 3": "a database",
}
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1f]")
_ONLY_WINDOWS = re.compile(rb"[\x80-\x9f]")


def find_encoding(head: bytes, name: str, doubts: Doubts) -> str:
    """The encoding, as a profile names it.

    Raises
    ------
    UserError
        When the bytes are no text.
    """
    for signature, what in _SIGNATURES.items():
        if head.startswith(signature):
            raise UserError(f"{name} is {what}, not a text file; export the table as CSV")
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if head.count(0) > len(head) // 4:
        return _unmarked_utf16(head, name, doubts)
    if len(_CONTROL.findall(head)) > len(head) // 200:
        raise UserError(f"{name} is no text file: it holds control bytes; export the table as CSV")
    return "utf-8" if _is_utf8(head) else one_byte_encoding(head, doubts)


def _unmarked_utf16(head: bytes, name: str, doubts: Doubts) -> str:
    even, odd = head[::2].count(0), head[1::2].count(0)
    if min(even, odd) * 10 > max(even, odd):
        raise UserError(f"{name} is no text file: it holds zero bytes; export the table as CSV")
    encoding = "utf-16-le" if odd > even else "utf-16-be"
    doubts.add("encoding", f"the file has no byte order mark; every other byte is zero, as in {encoding}")
    return encoding


def _is_utf8(head: bytes) -> bool:
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)  # the last sign may be cut
    except UnicodeDecodeError:
        return False
    return True


def one_byte_encoding(head: bytes, doubts: Doubts) -> str:
    """The encoding of text that is not UTF-8: Windows uses bytes that are control signs in Latin-1."""
    encoding = "cp1252" if _ONLY_WINDOWS.search(head) else "latin-1"
    doubts.add(
        "encoding",
        f"the file is not UTF-8 and is taken as {encoding}; if letters beyond a to z look wrong in names, "
        "give the encoding of the computer that wrote it",
    )
    return encoding
