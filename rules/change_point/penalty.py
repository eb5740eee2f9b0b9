"""How much must a shift explain to count as one?

References
----------
Zhang, N. R. and Siegmund, D. O. (2007). A modified Bayes information criterion with applications to the
analysis of comparative genomic hybridization data. Biometrics 63, 22-32.
"""

from __future__ import annotations

import math

from rules.figures import written

__all__ = ["SHORTEST_SEGMENT", "penalty_in_words", "penalty_of"]

SHORTEST_SEGMENT = 3  # shots; fewer are single bad shots, not a level


def penalty_of(n: int, sigma: float, phi: float = 0.0) -> float:
    """Return how many squares a shift must explain to count.

    Parameters
    ----------
    n : int
        Number of values.
    sigma : float
        Standard deviation around the level.
    phi : float
        Autocorrelation at lag 1.

    Returns
    -------
    float
        ``3 ln(n) sigma^2 (1 + phi) / (1 - phi)``: a level and a place cost three half log n in the modified
        Bayes criterion, and correlated values wander as far as independent ones of that larger variance.

    References
    ----------
    Zhang, N. R. and Siegmund, D. O. (2007). A modified Bayes information criterion with applications to the
    analysis of comparative genomic hybridization data. Biometrics 63, 22-32.
    """
    return 3.0 * math.log(n) * sigma**2 * (1.0 + phi) / (1.0 - phi)


def penalty_in_words(n: int, sigma: float, phi: float = 0.0, *, unit: str = "") -> str:
    """Return a sentence that says what a shift must be to count, and why no less will do.

    Parameters
    ----------
    n : int
        Number of values, 2 or more.
    sigma : float
        Standard deviation around the level, in ``unit``.
    phi : float
        Autocorrelation at lag 1.
    unit : str
        Unit of the values; left out of the sentence where empty.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If ``n`` is below 2 or ``sigma`` not above zero.
    """
    if n < 2 or not sigma > 0.0:
        raise ValueError(
            f"{n} values with sigma {sigma} have no penalty; give 2 or more and a sigma above 0."
        )
    squares = penalty_of(n, 1.0, phi)
    size = f"{written(sigma, 3)} {unit}".strip()
    one, two, three = (max(math.ceil(squares / shift**2), SHORTEST_SEGMENT) for shift in (1.0, 2.0, 3.0))
    likeness = f" and neighbors are alike (autocorrelation {phi:.2f})" if phi > 0.0 else ""
    return (
        f"A shift by one standard deviation ({size}) counts when it lasts {one} shots or more, by two when "
        f"it lasts {two}, by three {three}; less happens too easily by chance somewhere among {n} values, "
        f"where every place may be one{likeness}."
    )
