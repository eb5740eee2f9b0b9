"""How the numbers of a file are written: their decimal mark, and the mark between groups of three digits.

A comma before three digits is either. Which one it is the profile says, once for the whole file; then groups
must be of three, so that 10,72 is refused where the comma parts thousands, and not taken for 1072.

References
----------
ISO 80000-1:2009, 7.3: digits may be parted in groups of three (from memory). That presses and spreadsheets
part them by comma, point, apostrophe or space: common practice, no source.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Literal, NamedTuple

__all__ = ["DecimalMark", "Marks", "ThousandsMark"]

DecimalMark = Literal[".", ","]
ThousandsMark = Literal[".", ",", "'", " "]
# The signs that are meant: an apostrophe may be a typographic one, a space may not break or be narrow.
SIGNS: dict[str, str] = {".": ".", ",": ",", "'": "'\u2019", " ": " \u00a0\u2009\u202f"}


class Marks(NamedTuple):
    """The decimal mark and, where thousands are parted, the sign between them."""

    decimal: DecimalMark = "."
    thousands: ThousandsMark | None = None

    def plain(self, text: str) -> str | None:
        """A number as ``float`` reads it, None where it is not written like this; others stay as they are."""
        if self.thousands is not None:
            text = text.strip()
            if any(sign in text for sign in SIGNS[self.thousands]):
                if not self.is_grouped(text):
                    return None
                text = re.sub(f"[{SIGNS[self.thousands]}]", "", text)
        if self.decimal == ".":
            return text
        return None if "." in text else text.replace(",", ".")

    def is_grouped(self, text: str) -> bool:
        """Whether a number without space around it has the mark between its thousands: groups of three."""
        return self.thousands is not None and _grouped(self).fullmatch(text) is not None


@lru_cache
def _grouped(marks: Marks) -> re.Pattern[str]:
    assert marks.thousands is not None, "only asked where thousands are parted"
    groups = "|".join(rf"(?:{re.escape(sign)}\d{{3}})+" for sign in SIGNS[marks.thousands])
    return re.compile(rf"[+-]?[1-9]\d{{0,2}}(?:{groups})(?:{re.escape(marks.decimal)}\d*)?")
