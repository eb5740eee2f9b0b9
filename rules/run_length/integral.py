"""Run lengths of CUSUM and EWMA charts of independent normal values, by integral equations."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["LONGEST", "bounded", "combined_arl", "cusum_arl", "density", "ewma_arl", "first_of", "gauss"]

FloatArray = NDArray[np.float64]
LONGEST = 1e11  # beyond this a linear solve in double precision has too few correct digits left


def cusum_arl(
    *, k: float, h: float, shift: float = 0.0, head_start: float = 0.0, two_sided: bool = True
) -> float:
    """Return the zero-state average run length of a tabular CUSUM.

    Parameters
    ----------
    k, h : float
        Reference value and decision interval in sigma, both above zero (``k`` may be zero).
    shift : float
        Distance of the process mean from center, in sigma.
    head_start : float
        Where both sums start, in sigma; ``h / 2`` is the usual fast initial response.
    two_sided : bool
        True for the pair of sums, False for the upper sum alone.

    Returns
    -------
    float
        Mean number of values up to and including the first signal; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above, or ``head_start`` is not below ``h``.

    Notes
    -----
    Each side solves ``L(u) = 1 + L(0) P(X <= k - u) + integral of L(v) f(v + k - u) dv over 0..h`` on
    Gauss-Legendre points, the atom at zero apart. The sides combine as in the second source, exactly for a
    zero start; with a head start exactly where one sum is at zero when the other signals, which holds for
    ``head_start`` up to ``h / 2 + k``.

    References
    ----------
    Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
    Lucas, J. M. and Crosier, R. B. (1982). Fast initial response for CUSUM quality-control schemes.
    Technometrics 24, 199-205.
    """
    _check_cusum(k, h, head_start)
    upper, upper_started = _one_sided(k, h, shift, head_start)
    if not two_sided:
        return upper_started
    lower, lower_started = _one_sided(k, h, -shift, head_start)
    if math.isinf(upper) or math.isinf(lower):
        return min(upper_started, lower_started)
    # Products of two run lengths would overflow the digits; divide first.
    share = upper / (upper + lower)
    return upper_started * (1.0 - share) + share * (lower_started - lower)


def _check_cusum(k: float, h: float, head_start: float) -> None:
    if not (math.isfinite(k) and k >= 0.0):
        raise ValueError(f"k is {k}; give a reference value of 0 or more, in sigma.")
    if not (math.isfinite(h) and h > 0.0):
        raise ValueError(f"h is {h}; give a decision interval above 0, in sigma.")
    if not 0.0 <= head_start < h:
        raise ValueError(f"The head start is {head_start}; give 0 or more and less than h ({h}).")


@lru_cache(maxsize=4096)
def _one_sided(k: float, h: float, shift: float, head_start: float) -> tuple[float, float]:
    """Return the run length of the upper sum from zero and from the head start."""
    nodes, weights = gauss(int(24 + 6 * h), 0.0, h)
    starts = np.append(nodes, 0.0)
    reach = k - shift - starts
    kernel = np.column_stack((weights * density(nodes + reach[:, None]), ndtr(reach)))
    lengths = np.linalg.solve(np.eye(len(starts)) - kernel, np.ones(len(starts)))
    row = np.append(weights * density(nodes + k - shift - head_start), ndtr(k - shift - head_start))
    return bounded(lengths[-1]), bounded(float(1.0 + row @ lengths))


def ewma_arl(*, lam: float, width: float, shift: float = 0.0) -> float:
    """Return the zero-state average run length of an EWMA chart with asymptotic limits.

    Parameters
    ----------
    lam : float
        Weight of the newest value, ``0 < lam <= 1``.
    width : float
        Distance of the limits from center in standard deviations of the settled EWMA, above zero.
    shift : float
        Distance of the process mean from center, in sigma of the values.

    Returns
    -------
    float
        Mean number of values up to and including the first signal, from an EWMA at center; infinity above
        1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    References
    ----------
    Crowder, S. V. (1987). A simple method for studying run-length distributions of exponentially weighted
    moving average charts. Technometrics 29, 401-407.
    Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control schemes.
    Technometrics 32, 1-12.
    """
    if not 0.0 < lam <= 1.0:
        raise ValueError(f"lambda is {lam}; give a weight above 0 and at most 1.")
    if not (math.isfinite(width) and width > 0.0):
        raise ValueError(f"The width is {width}; give a number above 0, in standard deviations of the EWMA.")
    limit = width * math.sqrt(lam / (2.0 - lam))
    # The kernel is a bell of width lam; the number of points follows how many of them fit between the limits.
    nodes, weights = gauss(int(40 + 8 * limit / lam), -limit, limit)
    starts = np.append(nodes, 0.0)
    step = (nodes - (1.0 - lam) * starts[:, None]) / lam - shift
    kernel = np.column_stack((weights * density(step) / lam, np.zeros(len(starts))))
    lengths = np.linalg.solve(np.eye(len(starts)) - kernel, np.ones(len(starts)))
    return bounded(lengths[-1])


def combined_arl(*, width: float, k: float, h: float, shift: float = 0.0) -> float:
    """Return the zero-state average run length of an individuals chart and a CUSUM watched together.

    Parameters
    ----------
    width : float
        Individuals limits, in sigma.
    k, h : float
        Two-sided tabular CUSUM, in sigma.
    shift : float
        Distance of the process mean from center, in sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal of either chart.

    Raises
    ------
    ValueError
        If a parameter is not above zero.

    Notes
    -----
    The upper limit and the upper sum are solved together, the lower pair likewise, and their rates added.
    That is exact but for one case: a single value beyond its limit while the opposite sum is so far out (over
    ``width + k``) that it would not have returned to zero.

    References
    ----------
    Lucas, J. M. (1982). Combined Shewhart-CUSUM quality control schemes. J. Quality Technology 14, 51-59.
    """
    _check_cusum(k, h, 0.0)
    if not width > 0.0:
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    upper, lower = (_one_sided_limited(k, h, side * shift, width) for side in (1.0, -1.0))
    return first_of(upper, lower)


@lru_cache(maxsize=1024)
def _one_sided_limited(k: float, h: float, shift: float, width: float) -> float:
    """Run length of the upper sum with an upper individuals limit.

    The limit cuts the integral at ``u + width - k``, so each start ``u`` has points of its own, and the run
    length there is read from its polynomial through the common points.
    """
    size = int(24 + 4 * h)
    nodes, _ = gauss(size, 0.0, h)
    starts = np.append(nodes, 0.0)
    ends = np.clip(starts + width - k, 0.0, h)
    unit, unit_weights = gauss(size, 0.0, 1.0)
    points = ends[:, None] * unit
    chance = ends[:, None] * unit_weights * density(points + k - shift - starts[:, None])
    read = np.linalg.inv(legendre.legvander(2.0 * nodes / h - 1.0, size - 1))
    basis = legendre.legvander(2.0 * points / h - 1.0, size - 1)
    kernel = np.einsum("iq,iqm->im", chance, basis) @ read
    atom = ndtr(np.minimum(k - starts, width) - shift)
    lengths = np.linalg.solve(np.eye(size + 1) - np.column_stack((kernel, atom)), np.ones(size + 1))
    return bounded(lengths[-1])


@lru_cache(maxsize=128)
def _unit_gauss(size: int) -> tuple[FloatArray, FloatArray]:
    return legendre.leggauss(size)


def gauss(size: int, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre points and weights between two bounds."""
    nodes, weights = _unit_gauss(size)
    half = (high - low) / 2.0
    return low + half * (nodes + 1.0), half * weights


def density(z: NDArray[np.floating]) -> FloatArray:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi), dtype=np.float64)


def first_of(upper: float, lower: float) -> float:
    """Return the run length of two sides whose rates add; infinity where neither ever signals."""
    rate = 1.0 / upper + 1.0 / lower
    return 1.0 / rate if rate > 0.0 else math.inf


def bounded(length: float) -> float:
    """Turn what lies beyond double precision into infinity."""
    return float(length) if 0.0 < length < LONGEST else math.inf
