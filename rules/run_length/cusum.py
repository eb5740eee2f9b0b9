"""How long until a tabular CUSUM of independent normal values signals, alone or with individuals limits?

References
----------
Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
Lucas, J. M. and Crosier, R. B. (1982). Fast initial response for CUSUM quality-control schemes. Technometrics
24, 199-205.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rules.run_length.distribution import RunLengthDistribution, is_settled
from rules.run_length.high_start import Together, high_start_arl
from rules.run_length.integral import bounded, check_shift, first_of
from rules.run_length.one_sum import OneSum

__all__ = ["combined_arl", "combined_run_length", "cusum_arl", "cusum_run_length", "cusum_steady_arl"]

FloatArray = NDArray[np.float64]
LEAST_LEFT = 1e-12  # two sums together: what survives with less chance is not followed further
SLOWEST = 16_384  # values


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
    Each side solves an integral equation (:mod:`rules.run_length.one_sum`). The sides combine as in the
    second source, exactly for a zero start and for a ``head_start`` up to ``h / 2 + k``, with which one sum
    is at zero when the other signals. Higher ones are followed until one sum has been at zero
    (:mod:`rules.run_length.high_start`).

    References
    ----------
    Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
    Lucas, J. M. and Crosier, R. B. (1982). Fast initial response for CUSUM quality-control schemes.
    Technometrics 24, 199-205.
    """
    _check(k, h, head_start, shift)
    upper, upper_started = _one_sided(k, h, shift, head_start)
    if not two_sided:
        return upper_started
    lower, lower_started = _one_sided(k, h, -shift, head_start)
    if math.isinf(upper) or math.isinf(lower):
        return min(upper_started, lower_started)
    # Products of two run lengths would overflow the digits; divide first.
    share = upper / (upper + lower)
    if head_start > h / 2.0 + k:
        above, below = OneSum(k, h, shift), OneSum(k, h, -shift)
        together = Together(
            lambda u: (1.0 - share) * above.lengths_at(u), lambda u: share * below.lengths_at(u)
        )
        return high_start_arl(k, h, shift, head_start, together)
    return upper_started * (1.0 - share) + share * (lower_started - lower)


def cusum_run_length(
    *, k: float, h: float, shift: float = 0.0, head_start: float = 0.0, two_sided: bool = True
) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length; see :func:`cusum_arl` for the parameters.

    Raises
    ------
    ValueError
        As :func:`cusum_arl`, and for two sides that start above ``h / 2 + k``.

    Notes
    -----
    Where the upper sum signals first, at value m, the lower one is at zero and goes on as from a fresh start.
    So ``P(lower alone at n) = P(lower first at n) + sum of P(upper first at m) P(lower from zero at n - m)``,
    and the same with the sides exchanged: two recursions that give the chance of either being first.
    """
    _check(k, h, head_start, shift)
    upper = OneSum(k, h, shift)
    if not two_sided:
        return upper.run_length(head_start)
    if head_start > h / 2.0 + k:
        raise ValueError(
            f"The head start is {head_start}; for the distribution of two sums give at most h / 2 + k "
            f"({h / 2.0 + k:g})."
        )
    return _first_of_two(upper, OneSum(k, h, -shift), head_start)


def cusum_steady_arl(*, k: float, h: float, shift: float) -> float:
    """Return the average run length from a shift that comes long after the start, of the sum on its side.

    Parameters
    ----------
    k, h : float
        As in :func:`cusum_arl`.
    shift : float
        How far the process mean moves from center, in sigma; the sum of the other side is left out.

    Returns
    -------
    float
        Mean number of values from the shift up to and including the signal; infinity above 1e11.

    Raises
    ------
    ValueError
        As :func:`cusum_arl`.
    """
    _check(k, h, 0.0, shift)
    return bounded(OneSum(k, h, 0.0).steady_length(abs(shift)))


def _check(k: float, h: float, head_start: float, shift: float) -> None:
    check_shift(shift)
    if not (math.isfinite(k) and k >= 0.0):
        raise ValueError(f"k is {k}; give a reference value of 0 or more, in sigma.")
    if not (math.isfinite(h) and h > 0.0):
        raise ValueError(f"h is {h}; give a decision interval above 0, in sigma.")
    if not 0.0 <= head_start < h:
        raise ValueError(f"The head start is {head_start}; give 0 or more and less than h ({h}).")


@lru_cache(maxsize=4096)
def _one_sided(k: float, h: float, shift: float, head_start: float) -> tuple[float, float]:
    """Return the run length of the upper sum from zero and from the head start."""
    fresh, started = OneSum(k, h, shift).lengths_at(np.array([0.0, head_start]))
    return bounded(fresh), bounded(started)


def _first_of_two(upper: OneSum, lower: OneSum, head_start: float) -> RunLengthDistribution:
    """Distribution of the earlier of the signals of two sums of the same values."""
    sides = (upper, lower)
    fresh, started = [[side.run_length(start) for side in sides] for start in (0.0, head_start)]
    size = 256
    while True:
        first = _first_chances([d.chances(size) for d in started], [d.chances(size) for d in fresh])
        survival = np.concatenate(([1.0], 1.0 - np.cumsum(first)))
        hazards = first / np.maximum(survival[:-1], LEAST_LEFT)
        spent = np.flatnonzero(survival < LEAST_LEFT)
        if spent.size:
            return RunLengthDistribution(np.append(survival[: spent[0]], 0.0), 1.0)
        if size >= SLOWEST or is_settled(hazards.tolist()):
            return RunLengthDistribution(survival, float(hazards[-1]))
        size *= 2


def _first_chances(started: list[FloatArray], fresh: list[FloatArray]) -> FloatArray:
    """Chance that the first signal of either of two sums comes at value 1, 2, ..."""
    upper, lower = np.zeros_like(started[0]), np.zeros_like(started[1])
    back_upper, back_lower = fresh[0][::-1], fresh[1][::-1]
    for n in range(upper.size):
        upper[n] = started[0][n] - lower[:n] @ back_upper[upper.size - n :]
        lower[n] = started[1][n] - upper[:n] @ back_lower[lower.size - n :]
    return upper + lower


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
    _check_combined(width, k, h, shift)
    upper, lower = (_limited(k, h, side * shift, width) for side in (1.0, -1.0))
    return first_of(upper, lower)


def combined_run_length(*, width: float, k: float, h: float, shift: float = 0.0) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length; see :func:`combined_arl`.

    Raises
    ------
    ValueError
        As :func:`combined_arl`.

    Notes
    -----
    The sides combine as in :func:`cusum_run_length`.
    """
    _check_combined(width, k, h, shift)
    return _first_of_two(OneSum(k, h, shift, width), OneSum(k, h, -shift, width), 0.0)


def _check_combined(width: float, k: float, h: float, shift: float) -> None:
    _check(k, h, 0.0, shift)
    if not width > 0.0:
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")


@lru_cache(maxsize=1024)
def _limited(k: float, h: float, shift: float, width: float) -> float:
    """Run length of the upper sum with an upper individuals limit."""
    return bounded(OneSum(k, h, shift, width).lengths_at(np.zeros(1))[0])
