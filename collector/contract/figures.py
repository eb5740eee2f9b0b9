"""How numbers without decimals of their own are written: digits without an exponent, counts, shares. Pure."""

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


def counted(n: int, singular: str, plural: str | None = None) -> str:
    """``1 disc``, ``1,200 discs``; `plural` where it is not the singular with an s."""
    return f"{n:,} {singular if n == 1 else plural or singular + 's'}"


def percent(share: float, decimals: int = 0) -> str:
    """``45 %`` of a share from 0 to 1, with a space as in the SI brochure."""
    return f"{100 * share:.{decimals}f} %"
