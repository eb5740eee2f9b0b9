"""How many standard deviations from the mean must normal tolerance limits lie?

References
----------
ISO 16269-6:2014, Statistical interpretation of data - Part 6: Determination of statistical tolerance
intervals.
Wald, A. and Wolfowitz, J. (1946). Tolerance limits for a normal distribution. Annals of Mathematical
Statistics 17, 208-215.
Howe, W. G. (1969). Two-sided tolerance limits for normal populations: some improvements. J. American
Statistical Association 64, 610-620.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, ndtr, ndtri

from rules.noncentral_t import chance_at_most

__all__ = ["check_shares", "k_howe", "k_one_sided", "k_two_sided"]

FloatArray = NDArray[np.float64]
REACH = 9.0  # standard errors of the mean on either side; what lies beyond weighs 1e-19
NODES, WEIGHTS = np.polynomial.legendre.leggauss(200)


def k_two_sided(n: int, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Return k such that mean +- k s holds ``coverage`` of a normal distribution, exactly.

    Parameters
    ----------
    n : int
        Values behind the mean, 2 or more.
    coverage, confidence : float
        Between 0 and 1.
    freedom : float, optional
        Degrees of freedom of s; ``n - 1`` otherwise.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    For each error z of the mean (in standard errors) the half width r that holds the coverage is known, and s
    must reach r / k. The chance of that, integrated over z, is the confidence; solved for k.

    References
    ----------
    Wald and Wolfowitz (1946); ISO 16269-6:2014, annex F.
    """
    nu = _freedom(n, coverage, confidence, freedom)
    z = REACH * NODES
    density = REACH * WEIGHTS * np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    half = _half_width(z / math.sqrt(n), coverage)

    def miss(k: float) -> float:
        return float(density @ chdtrc(nu, nu * (half / k) ** 2)) - confidence

    top = 2.0 * k_howe(n, coverage, confidence, freedom=nu)
    while miss(top) < 0.0:
        top *= 2.0
    return float(brentq(miss, 0.1 * float(half[len(half) // 2]), top, xtol=1e-12, rtol=1e-13))


def k_howe(n: int, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Return Howe's approximation of the two-sided k, as many printed tables carry it.

    Parameters
    ----------
    n, coverage, confidence, freedom
        As in :func:`k_two_sided`.

    Returns
    -------
    float
        ``z sqrt(nu (1 + 1/n) / chi2)`` without his second correction.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Howe (1969); NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.
    """
    nu = _freedom(n, coverage, confidence, freedom)
    z = float(ndtri((1.0 + coverage) / 2.0))
    return z * math.sqrt(nu * (1.0 + 1.0 / n) / float(chdtri(nu, confidence)))


def k_one_sided(n: int, coverage: float, confidence: float, *, freedom: float | None = None) -> float:
    """Return k such that ``coverage`` of a normal distribution lies below mean + k s (or above mean - k s).

    Parameters
    ----------
    n, coverage, confidence, freedom
        As in :func:`k_two_sided`.

    Returns
    -------
    float
        A quantile of the noncentral t distribution over sqrt(n).

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    ISO 16269-6:2014, annex C; Odeh, R. E. and Owen, D. B. (1980). Tables for Normal Tolerance Limits,
    Sampling Plans, and Screening. Dekker.
    """
    nu = _freedom(n, coverage, confidence, freedom)
    away = float(ndtri(coverage)) * math.sqrt(n)

    def miss(t: float) -> float:
        return chance_at_most(t, nu, away) - confidence

    low = high = away
    step = math.hypot(1.0, away / math.sqrt(2.0 * nu))  # about the spread of t
    while miss(high) < 0.0:
        high, step = high + step, 2.0 * step
    while miss(low) > 0.0:
        low, step = low - step, 2.0 * step
    return float(brentq(miss, low, high, xtol=1e-12, rtol=1e-13)) / math.sqrt(n)


def _half_width(offset: FloatArray, coverage: float) -> FloatArray:
    """Half width r around ``offset`` that holds ``coverage`` of a standard normal distribution (Newton)."""
    away = np.abs(offset)
    r = away + float(ndtri((1.0 + coverage) / 2.0))  # from above: the share is concave there
    for _ in range(60):
        share = ndtr(away + r) - ndtr(away - r)
        slope = (np.exp(-0.5 * (away + r) ** 2) + np.exp(-0.5 * (away - r) ** 2)) / math.sqrt(2.0 * math.pi)
        change = (share - coverage) / slope
        r = np.maximum(r - change, 0.5 * r)
        if np.max(np.abs(change)) < 1e-13:
            break
    return np.asarray(r, dtype=np.float64)


def _freedom(n: int, coverage: float, confidence: float, freedom: float | None) -> float:
    check_shares(coverage, confidence)
    if n < 2:
        raise ValueError(f"A tolerance factor for {n} values does not exist; give 2 or more.")
    if freedom is not None and not (math.isfinite(freedom) and freedom > 0.0):
        raise ValueError(f"The degrees of freedom are {freedom}; give a number above 0.")
    return float(n - 1) if freedom is None else freedom


def check_shares(coverage: float, confidence: float) -> None:
    """Raise ValueError for a share out of range."""
    for name, value in (("coverage", coverage), ("confidence", confidence)):
        if not 0.0 < value < 1.0:
            raise ValueError(f"The {name} is {value}; give a number between 0 and 1.")
