"""How is a number written in a sentence? With its first digits, and never with an exponent.

Source: ISO 80000-1:2009, 7.3.1 (digits in groups of three; from memory); else common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal


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
        Such as ``12,350``, ``61.2`` or ``0.0042``.
    """
    return f"{Decimal(f'{value:.{digits}g}'):{'+' if signed else ''},f}"
