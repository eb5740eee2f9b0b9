"""Which rows of a file sum up the others, as the words in their first cells tell."""

from __future__ import annotations

from collections.abc import Sequence

from collector.sources import csv_totals
from collector.sources.inspection import cells
from collector.sources.inspection.dialect import RawRow
from collector.sources.inspection.doubts import Doubts

MOST = 0.2  # of the rows; in a small table there may be more


def find_totals(rows: Sequence[RawRow], doubts: Doubts) -> list[str]:
    """The words that rows of totals begin with, in small letters; none where they may be data.

    Somebody may be called Max: so a word counts only where the cells above it are numbers, times or empty.
    """
    found = [row for row in rows if csv_totals.label(row.cells) in csv_totals.WORDS]
    if not found or len(found) > max(8, MOST * len(rows)) or 2 * len(found) > len(rows):
        return []
    others = [row for row in rows if csv_totals.label(row.cells) not in csv_totals.WORDS]
    words = sorted(
        {csv_totals.label(row.cells) for row in found if _are_data(others, _first_written(row))}
    )
    if words:
        doubts.add(
            "total_rows",
            f"rows that begin with {' or '.join(map(repr, words))} are taken for totals of the others, "
            "and passed over",
        )
    return words


def _first_written(row: RawRow) -> int:
    return next(place for place, cell in enumerate(row.cells) if cell.strip())


def _are_data(rows: Sequence[RawRow], place: int) -> bool:
    above = [row.cells[place].strip() for row in rows if len(row.cells) > place]
    return sum(not cell or cells.is_datum(cell) for cell in above) > 0.8 * len(above)
