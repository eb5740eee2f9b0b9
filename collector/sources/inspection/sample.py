"""The part of a file that an inspection reads: its beginning, and stretches from all over it.

However large the file is, no more than about 400 kB of it are read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from collector.errors import UserError
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.encoding import find_encoding, one_byte_encoding

HEAD_BYTES = 1 << 18
STRETCHES = 8
STRETCH_BYTES = 1 << 14
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\n|\r|\Z)")


@dataclass(frozen=True, slots=True)
class Sample:
    """Lines of the beginning, and lines of later stretches; `whole` where the beginning is all."""

    name: str
    encoding: str
    head: list[str]
    later: list[list[str]]
    size: int
    whole: bool


def take_sample(path: Path, doubts: Doubts) -> Sample:
    """Read the beginning and some stretches of a file.

    Raises
    ------
    UserError
        When it cannot be read, is empty, is no text, or has a first line of more than 260 kB.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            places = _places(size)
            # One byte more, because an even place may leave the last byte of the file.
            later = [(file.seek(place), file.read(STRETCH_BYTES + 1))[1] for place in places]
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror}); give the path of a CSV file") from error
    if not head.strip(b"\x00\xef\xbb\xbf\xff\xfe \t\r\n"):
        raise UserError(f"{path.name} is empty; give a file with a header and rows")
    encoding = find_encoding(head, path.name, doubts)
    if encoding == "utf-8" and any(_foreign(piece) for piece in later):
        encoding = one_byte_encoding(b"".join(later), doubts)
    whole = size <= HEAD_BYTES
    lines = _lines(_text(head, encoding))
    if len(lines) == 1 and not whole:
        raise UserError(f"the first line of {path.name} is longer than any table's; give a press's export")
    decoded = [_lines(_text(piece, _of_pieces(encoding, head)))[1:] for piece in later]
    decoded = [*(stretch[:-1] for stretch in decoded[:-1]), *decoded[-1:]]  # the last one ends with the file
    return Sample(path.name, encoding, lines if whole else lines[:-1], decoded, size, whole)


def _places(size: int) -> list[int]:
    """Even places, so that UTF-16 is not cut within a sign; the last one is the end of the file."""
    room = size - HEAD_BYTES - STRETCH_BYTES
    if room <= 0:
        return [HEAD_BYTES] if size > HEAD_BYTES else []
    return [HEAD_BYTES + room * i // (STRETCHES - 1) // 2 * 2 for i in range(STRETCHES)]


def _foreign(piece: bytes) -> bool:
    # A stretch may begin and end within a sign, which costs at most three bytes at either end.
    return "\ufffd" in piece[3:-3].decode("utf-8", "replace")[3:-3]


def _of_pieces(encoding: str, head: bytes) -> str:
    if encoding != "utf-16":
        return encoding
    return "utf-16-be" if head.startswith(b"\xfe\xff") else "utf-16-le"


def _text(piece: bytes, encoding: str) -> str:
    return piece.decode("utf-8-sig" if encoding == "utf-8" else encoding, "replace").removeprefix("\ufeff")


def _lines(text: str) -> list[str]:
    return [line for line in _LINE.findall(text) if line]
