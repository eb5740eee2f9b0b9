"""How a number without decimals of its own is written: so many digits, never an exponent. Pure."""

from __future__ import annotations

from decimal import Decimal


def significant(value: float, digits: int = 3) -> str:
    """Write a number with its first digits, in groups of three before the point.

    Parameters
    ----------
    value : float
        Finite.
    digits : int
        How many, at least 1; what comes after them is rounded.

    Returns
    -------
    str
        Such as ``45,700``, ``61.2`` or ``0.0042``.
    """
    return f"{Decimal(f'{value:.{digits}g}'):,f}"
