"""How long does a CUSUM of autocorrelated values run, in closed form, for any error of its parameters?

A CUSUM of slowly varying values is close to a Brownian motion with the same drift and the same long-run
variance; what the values overshoot zero and the barrier by is added to the barrier (Siegmund). That excess is
matched to the exact run length of one chart, for each of a few autocorrelations, and read off a polynomial
between them. It hardly depends on reference value or decision interval: within 0.3 % of the barrier for the
charts a budget leads to, so that run lengths come out within 2 %.

References
----------
Siegmund, D. (1985). Sequential Analysis, II.6 and X (run length of the CUSUM by Brownian motion, and its
correction for the excess).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from rules.run_length.autocorrelated import cusum_ar1_arl, variance_ratio

__all__ = ["barrier_for", "excess", "run_length"]

FloatArray = NDArray[np.float64]
NODES = (-0.3, 0.0, 0.2, 0.4, 0.6, 0.8)  # autocorrelations whose excess is matched
REFERENCE = 0.5
LOG_RATE = 4.0  # the matched chart: 2 k h / ratio, where the excess has settled and the chain is still small
STEEPEST = 600.0


def run_length(reference: ArrayLike, barrier: ArrayLike, ratio: ArrayLike) -> FloatArray:
    """Return the run length of a one-sided Brownian CUSUM.

    Parameters
    ----------
    reference : array_like of float
        How far the drift lies below zero, in sigma a shot; negative where the sum grows.
    barrier : array_like of float
        Decision interval with its excess, in sigma, above zero.
    ratio : array_like of float
        Long-run variance a shot, in sigma squared: ``(1 + phi) / (1 - phi)``.

    Returns
    -------
    ndarray of float64
        Shots, of the common shape of the arguments.
    """
    reference, barrier, ratio = (np.asarray(each, dtype=np.float64) for each in (reference, barrier, ratio))
    with np.errstate(over="ignore"):  # a search may try barriers beyond any number
        exponent = np.clip(2.0 * reference * barrier / ratio, -STEEPEST, STEEPEST)
    flat = np.abs(exponent) < 1e-3
    safe = np.where(flat, 1.0, exponent)
    # (e^y - 1 - y) / y^2 is 1/2 + y/6 near zero.
    shape = np.where(flat, 0.5 + exponent / 6.0, (np.expm1(safe) - safe) / (safe * safe))
    with np.errstate(over="ignore"):  # a run longer than any number is infinite
        return np.asarray(2.0 * barrier * barrier / ratio * shape, dtype=np.float64)


def barrier_for(reference: float, run: float, ratio: float) -> float:
    """Return the barrier at which the one-sided Brownian CUSUM has this run length."""

    def miss(barrier: float) -> float:
        return math.log(float(run_length(reference, barrier, ratio)) / run)

    top = ratio
    while miss(top) < 0.0:
        top *= 2.0
    return float(brentq(miss, 1e-9, top, xtol=1e-10))


def excess(phi: ArrayLike) -> FloatArray:
    """Return what is added to a decision interval, in total sigma.

    Parameters
    ----------
    phi : array_like of float
        Autocorrelation at lag 1, -0.4 to 0.99.

    Returns
    -------
    ndarray of float64
        Above phi = 0.8 scaled with the long-run variance, as the exact run lengths are.
    """
    given = np.asarray(phi, dtype=np.float64)
    near = np.clip(given, -0.4, NODES[-1])
    stretched = (1.0 + given) / (1.0 - given) * (1.0 - near) / (1.0 + near)
    return np.asarray(np.polyval(_polynomial(), near) / (1.0 - near) * stretched, dtype=np.float64)


@lru_cache(maxsize=1)
def _polynomial() -> FloatArray:
    """Polynomial of the excess times ``1 - phi``, which varies little."""
    matched = [(1.0 - phi) * _matched(phi) for phi in NODES]
    return np.asarray(np.polyfit(NODES, matched, len(NODES) - 1), dtype=np.float64)


def _matched(phi: float) -> float:
    ratio = variance_ratio(phi)
    h = LOG_RATE * ratio / (2.0 * REFERENCE)
    one_sided = 2.0 * cusum_ar1_arl(k=REFERENCE, h=h, phi=phi)
    return barrier_for(REFERENCE, one_sided, ratio) - h
