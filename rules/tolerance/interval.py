"""Between which values do at least so many of all discs lie, from a sample?

References
----------
ISO 16269-6:2014, Statistical interpretation of data - Part 6: Determination of statistical tolerance
intervals.
Wilks, S. S. (1941). Determination of sample sizes for setting tolerance limits. Annals of Mathematical
Statistics 12, 91-96.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import beta

from rules.series import finite_series
from rules.tolerance.factors import check_shares, k_one_sided, k_two_sided

__all__ = ["Side", "ToleranceInterval", "distribution_free_interval", "normal_interval", "smallest_sample"]

FloatArray = NDArray[np.float64]
Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceInterval:
    """Limits that hold a share of all values.

    Parameters
    ----------
    low, high : float or None
        In the unit of the values; None on a side that is left open.
    coverage : float
        Share of all values that lies within, at least.
    confidence : float
        How often limits found this way hold that share; for ordered values the one reached.
    n : int
        Values used.
    method : {'normal', 'ordered'}
    """

    low: float | None
    high: float | None
    coverage: float
    confidence: float
    n: int
    method: Literal["normal", "ordered"]

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        return asdict(self)


def normal_interval(
    x: ArrayLike, *, coverage: float = 0.99, confidence: float = 0.95, side: Side = "both"
) -> ToleranceInterval:
    """Return the tolerance interval of a normal distribution whose mean and sigma are estimated from ``x``.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Independent values; NaN where missing.
    coverage, confidence : float
        Between 0 and 1.
    side : {'both', 'lower', 'upper'}
        ``'upper'`` gives an upper limit only.

    Returns
    -------
    ToleranceInterval

    Raises
    ------
    ValueError
        If fewer than 2 values are present, one is infinite, all are equal, or an argument is out of range.

    References
    ----------
    ISO 16269-6:2014, clause 6.
    """
    values = _present(x, 2)
    _check_side(side)
    n, mean, s = len(values), float(values.mean()), float(values.std(ddof=1))
    if not s > 1e-14 * abs(mean):
        raise ValueError(f"All {n} values are {values[0]:g}; a tolerance interval needs values that vary.")
    k = (k_two_sided if side == "both" else k_one_sided)(n, coverage, confidence)
    return ToleranceInterval(
        low=None if side == "upper" else mean - k * s, high=None if side == "lower" else mean + k * s,
        coverage=coverage, confidence=confidence, n=n, method="normal",
    )  # fmt: skip


def distribution_free_interval(
    x: ArrayLike, *, coverage: float = 0.99, confidence: float = 0.95, side: Side = "both"
) -> ToleranceInterval:
    """Return ordered values between which ``coverage`` of any continuous distribution lies.

    Parameters
    ----------
    x, coverage, confidence, side
        As in :func:`normal_interval`.

    Returns
    -------
    ToleranceInterval
        The tightest whose confidence is at least the one asked for, cutting equally often at both ends (one
        more at the top where the number is odd).

    Raises
    ------
    ValueError
        As :func:`normal_interval`, or if there are fewer values than :func:`smallest_sample` asks for.

    Notes
    -----
    With r values cut off, the share between the ends follows a beta distribution with n - r + 1 and r
    degrees, whatever the distribution of the values; r is 2 for least and greatest.

    References
    ----------
    Wilks (1941); ISO 16269-6:2014, annex G.
    """
    values = np.sort(_present(x, 1))
    needed = smallest_sample(coverage, confidence, side=side)
    n = len(values)
    if n < needed:
        raise ValueError(
            f"{n} values are too few for {coverage:.4g} of all with confidence {confidence:.4g} from ordered "
            f"values; {needed} are needed, or a distribution must be supposed."
        )
    least = 2 if side == "both" else 1
    cut = least
    while _confidence(n, cut + 1, coverage) >= confidence:
        cut += 1
    below = {"both": cut // 2, "lower": cut, "upper": 0}[side]
    return ToleranceInterval(
        low=float(values[below - 1]) if below else None,
        high=float(values[n - (cut - below)]) if cut > below else None,
        coverage=coverage, confidence=_confidence(n, cut, coverage), n=n, method="ordered",
    )  # fmt: skip


def smallest_sample(coverage: float, confidence: float, *, side: Side = "both") -> int:
    """Return how many values least and greatest (or one of them) need to hold ``coverage``.

    Parameters
    ----------
    coverage, confidence : float
        Between 0 and 1.
    side : {'both', 'lower', 'upper'}

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Wilks (1941); ISO 16269-6:2014, annex G.
    """
    check_shares(coverage, confidence)
    _check_side(side)
    cut = 2 if side == "both" else 1
    low, high = cut - 1, cut
    while _confidence(high, cut, coverage) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _confidence(middle, cut, coverage) >= confidence else (middle, high)
    return high


def _confidence(n: int, cut: int, coverage: float) -> float:
    """Chance that what remains when ``cut`` of the n + 1 gaps are cut off holds the coverage."""
    return float(beta.sf(coverage, n - cut + 1, cut)) if cut <= n else 0.0


def _check_side(side: str) -> None:
    if side not in ("both", "lower", "upper"):
        raise ValueError(f"The side is {side!r}; give 'both', 'lower' or 'upper'.")


def _present(x: ArrayLike, fewest: int) -> FloatArray:
    values = finite_series(x)
    present = values[~np.isnan(values)]
    if len(present) < fewest:
        raise ValueError(f"{len(present)} values give no tolerance interval; give {fewest} or more.")
    return present
