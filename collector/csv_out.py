"""CSV that a spreadsheet opens as what it is: no cell can be taken for a formula.

A refused message, a reason, or a name may begin with a sign that makes a spreadsheet compute the cell. Every
CSV file that evenrun writes goes through here.

References
----------
OWASP, CSV Injection: the signs that begin a formula, and the apostrophe before them that makes them text. The
wide forms of the four signs, which some spreadsheets read like the plain ones, are from the same page, from
memory. RFC 4180: quotes around cells.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from typing import TextIO

__all__ = ["as_text", "row_writer"]

_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")  # noqa: RUF001 - the wide forms are meant
_CONTROL = ("\t", "\r", "\n")


def as_text(text: str) -> str:
    """A text that no spreadsheet computes: an apostrophe before what could begin a formula.

    White space before the sign does not help, since some programs take it off.
    """
    return f"'{text}" if text.startswith(_CONTROL) or text.lstrip().startswith(_SIGNS) else text


def row_writer(out: TextIO, *, delimiter: str = ",") -> Callable[[Iterable[object]], None]:
    """A function that writes one row; numbers stay numbers, also below zero, and None is an empty cell.

    Parameters
    ----------
    out : TextIO
        Opened with ``newline=""``.
    delimiter : str
        One sign.
    """
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")

    def write(cells: Iterable[object]) -> None:
        writer.writerow([as_text(cell) if isinstance(cell, str) else cell for cell in cells])

    return write
