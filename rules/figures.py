"""How is a number written in a sentence? With its first digits, and without an exponent while it can be read.

Source: ISO 80000-1:2009, 7.3.1 (digits in groups of three; from memory); else common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal

READABLE = range(-9, 15)  # powers of ten; beyond them zeros would have to be counted


def written(value: float, digits: int = 4, *, signed: bool = False) -> str:
    """Write a number with its first digits, in groups of three before the point.

    Parameters
    ----------
    value : float
    digits : int
        How many, at least 1; what comes after them is rounded.
    signed : bool
        Whether a plus is written too.

    Returns
    -------
    str
        Such as ``12,350``, ``61.2`` or ``0.0042``; ``1.035e-299`` where the zeros could not be counted.
    """
    short = Decimal(f"{value:.{digits}g}")
    form = ",f" if not short or short.adjusted() in READABLE else f".{digits - 1}e"
    return f"{short:{'+' if signed else ''}{form}}"
