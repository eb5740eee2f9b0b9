"""How the rows of a file are written: its delimiter, and whether lines are wrapped.

Every delimiter is tried. The right one cuts most rows into the same number of cells, and into cells that are
numbers and times; a wrong one leaves another delimiter within them.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import count

from collector.sources import csv_lines
from collector.sources.inspection import cells
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.sample import Sample

DELIMITERS = (";", "\t", ",", "|")
NAMES = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}
LINES_TRIED = 800


@dataclass(frozen=True, slots=True)
class RawRow:
    """A row as cut: the line it begins on, from 1, its text, and its cells."""

    line: int
    text: str
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Cut:
    """The rows of a sample under one delimiter, and how well it fits."""

    delimiter: str
    wrapped: bool
    head: list[RawRow]
    later: list[RawRow]
    width: int
    score: float


def cut(sample: Sample, doubts: Doubts) -> Cut:
    """Cut a sample with the delimiter that fits best."""
    start = replace(sample, head=sample.head[:LINES_TRIED], later=[])
    tried = [
        _better(_try(start, sign, wrapped=False), _try(start, sign, wrapped=True)) for sign in DELIMITERS
    ]
    several = [each for each in tried if each.width > 1]
    # The delimiter that makes more cells wins a draw.
    best = max(several, key=lambda each: (round(each.score, 2), each.width), default=None)
    single = _single(tried[0], doubts)
    if best is None or (single is not None and best.score <= single.score and best.delimiter == ","):
        best = single or tried[0]
    rivals = {each.delimiter for each in several if each.score > best.score - 0.1} - {best.delimiter}
    if best.width > 1 and rivals:
        others = " or ".join(NAMES[sign] for sign in sorted(rivals))
        doubts.add("delimiter", f"the rows are cut at {NAMES[best.delimiter]}; {others} would do as well")
    if not best.wrapped and (lines := cut_after_delimiter(start.head, best.delimiter)):
        doubts.add(
            "wrapped_lines",
            f"each record seems to be cut into {lines} lines after a {best.delimiter!r}, and no profile "
            "joins them; export with longer lines, or put a space before each line that goes on",
        )
    if best.wrapped:
        doubts.add("wrapped_lines", "lines that begin with white space are taken to continue the row before")
    every = _try(sample, best.delimiter, wrapped=best.wrapped)
    return replace(best, head=every.head, later=every.later)


def _better(plain: Cut, wrapped: Cut) -> Cut:
    """The wrapped reading, where lines that begin with white space make the lines before them whole rows."""
    # By their text, because a header that comes again and again would count as often.
    longer = {row.text: len(row.cells) for row in wrapped.head if len(row.cells) > 1 and _is_folded(row.text)}
    whole = sum(width == wrapped.width for width in longer.values())
    folded = len(wrapped.head) >= 3 and 8 * len(wrapped.head) >= len(plain.head)
    return wrapped if longer and folded and whole >= 0.6 * len(longer) else plain


def cut_after_delimiter(lines: Sequence[str], delimiter: str) -> int:
    """Into how many lines each record is cut, if the header is and so are most rows; else 0.

    A line that goes on ends with the delimiter. Where only the last cell of a row is empty now and then, the
    header is whole, and its next line is data.
    """
    records, parts = list[list[str]](), list[str]()
    for text in (line.rstrip() for line in lines if not csv_lines.is_blank(line, delimiter)):
        parts.append(text)
        if not text.endswith(delimiter):
            records.append(parts)
            parts = []
    if len(records) < 3 or len(records[0]) < 2 or _has_data(records[0], delimiter):
        return 0
    count = len(records[0])
    alike = sum(len(record) == count and _has_data(record, delimiter) for record in records[1:])
    return count if alike >= 0.8 * len(records[1:]) else 0


def _has_data(lines: Sequence[str], delimiter: str) -> bool:
    return any(cells.is_datum(cell) for line in lines for cell in line.split(delimiter))


def _is_folded(text: str) -> bool:
    inner = text.rstrip("\r\n")
    return "\n" in inner or "\r" in inner


def _try(sample: Sample, delimiter: str, *, wrapped: bool) -> Cut:
    head = _rows(sample.head, delimiter, wrapped=wrapped)
    later = [
        row
        for lines in sample.later
        for row in _inner(_rows(lines, delimiter, wrapped=wrapped), wrapped=wrapped)
    ]
    tried = [row for row in head[:LINES_TRIED] if any(cell.strip() for cell in row.cells)]
    widths = Counter(len(row.cells) for row in tried)
    width = max(widths, key=lambda each: (widths[each], each), default=0)
    own = [cell for row in tried if len(row.cells) == width for cell in row.cells]
    fit = sum(not cell.strip() or cells.is_datum(cell) for cell in own) / max(1, len(own))
    same = widths[width] / max(1, len(tried))
    return Cut(delimiter, wrapped, head, later, width, same * (0.4 + 0.6 * fit))


def _inner(rows: list[RawRow], *, wrapped: bool) -> list[RawRow]:
    """The rows of a later stretch; wrapped ones at its ends may be cut."""
    return rows[1:-1] if wrapped else rows


def _rows(lines: Sequence[str], delimiter: str, *, wrapped: bool) -> list[RawRow]:
    numbered = list(zip(count(1), lines))
    if wrapped:
        numbered = list(csv_lines.joined(numbered, csv_lines.continuation(delimiter)))
    return [
        RawRow(line, text, _cells(text, delimiter, wrapped=wrapped))
        for line, text in numbered
        if not csv_lines.is_blank(text, delimiter)
    ]


def _cells(text: str, delimiter: str, *, wrapped: bool) -> list[str]:
    text = csv_lines.unwrapped(text, delimiter) if wrapped else text
    try:
        return next(csv.reader((text,), delimiter=delimiter), [])
    except csv.Error:
        return [text]


def _single(plain: Cut, doubts: Doubts) -> Cut | None:
    """The reading as one column, where every line but the first is one number."""
    lines = [row.text.strip() for row in plain.head]
    numbers = lines if cells.is_ungrouped(lines[0]) else lines[1:]
    if not numbers or not all(cells.is_ungrouped(line) for line in numbers):
        return None
    if numbers is not lines and "," in lines[0]:
        return None
    if any("," in line for line in numbers):
        doubts.add("decimal_mark", "each line is one number with a decimal comma, or else two whole numbers")
    return Cut(";", wrapped=False, head=plain.head, later=plain.later, width=1, score=1.0)
