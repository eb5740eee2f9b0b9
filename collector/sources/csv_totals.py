"""Rows that sum up the others, such as a mean under a table: told by the word in their first cell."""

from __future__ import annotations

from collections.abc import Sequence

# What presses and spreadsheets call them, in English and German: common practice, no source.
WORDS = frozenset(
    {
        "total", "totals", "sum", "count", "average", "avg", "mean", "median", "min", "minimum", "max",
        "maximum", "range", "std", "std dev", "std. dev", "stdev", "stddev", "standard deviation", "sigma",
        "summe", "gesamt", "anzahl", "mittelwert", "mittel", "durchschnitt", "minimalwert", "maximalwert",
        "spannweite", "standardabweichung", "stdabw", "streuung",
    }
)  # fmt: skip


def plain(word: str) -> str:
    """A word as it is compared: without space around it, a colon or full stop after it, and letter case."""
    return word.strip().rstrip(":.").rstrip().casefold()


def label(cells: Sequence[str]) -> str:
    """The first cell that is written, as it is compared; empty where none is."""
    return next((plain(cell) for cell in cells if cell.strip()), "")
