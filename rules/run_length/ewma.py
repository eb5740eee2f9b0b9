"""How long until an EWMA chart of independent normal values signals, alone or with individuals limits?

References
----------
Crowder, S. V. (1987). A simple method for studying run-length distributions of exponentially weighted moving
average charts. Technometrics 29, 401-407.
Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control schemes: properties and
enhancements. Technometrics 32, 1-12 (head start; together with individuals limits).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rules.run_length.distribution import RunLengthDistribution, settling
from rules.run_length.integral import bounded, check_shift, cut_kernel, density, gauss, lengths_from

__all__ = [
    "combined_ewma_arl",
    "combined_ewma_run_length",
    "ewma_arl",
    "ewma_run_length",
    "ewma_steady_arl",
]

FloatArray = NDArray[np.float64]
SETTLED = 1e-12  # a limit has settled when it is within this share of where it will stay


def ewma_arl(
    *, lam: float, width: float, shift: float = 0.0, head_start: float = 0.0, asymptotic: bool = True
) -> float:
    """Return the zero-state average run length of an EWMA chart.

    Parameters
    ----------
    lam : float
        Weight of the newest value, ``0 < lam <= 1``.
    width : float
        Distance of the limits from center in standard deviations of the settled EWMA, above zero.
    shift : float
        Distance of the process mean from center, in sigma of the values.
    head_start : float
        Where a pair of averages starts, one above and one below center, as a share of the limit, from 0 to
        below 1; each signals beyond the limit of its own side. 0 is one average started at center.
    asymptotic : bool
        Whether the limits are those of a settled EWMA from the first value on; False, without a head start,
        for limits that widen as the variance of the average does.

    Returns
    -------
    float
        Mean number of values up to and including the first signal; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    Both averages of a head start take the same values, so their distance from the one that starts at center
    is known at each value, ``head_start (1 - lam)^n`` of the limit: the pair is one average between limits
    that start closer by that much.

    References
    ----------
    Crowder, S. V. (1987). A simple method for studying run-length distributions of exponentially weighted
    moving average charts. Technometrics 29, 401-407.
    Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control schemes.
    Technometrics 32, 1-12.
    """
    chart = _Ewma(lam, width, shift, head_start, asymptotic)
    if head_start or not asymptotic:
        return bounded(chart.followed()[0].mean)
    return bounded(1.0 + float((chart.onward(np.zeros(1)) @ chart.lengths())[0]))


def ewma_run_length(
    *, lam: float, width: float, shift: float = 0.0, head_start: float = 0.0, asymptotic: bool = True
) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length; see :func:`ewma_arl` for the parameters."""
    return _Ewma(lam, width, shift, head_start, asymptotic).followed()[0]


def ewma_steady_arl(*, lam: float, width: float, shift: float) -> float:
    """Return the average run length from a shift that comes long after the start, without a signal before it.

    Parameters
    ----------
    lam, width : float
        As in :func:`ewma_arl`.
    shift : float
        How far the process mean moves from center, in sigma of the values.

    Returns
    -------
    float
        Mean number of values from the shift up to and including the first signal; infinity above 1e11.

    Raises
    ------
    ValueError
        As :func:`ewma_arl`.
    """
    _, long_after = _Ewma(lam, width, 0.0).followed()
    return bounded(float(long_after @ _Ewma(lam, width, shift).lengths()))


def combined_ewma_arl(*, width: float, lam: float, ewma_width: float, shift: float = 0.0) -> float:
    """Return the zero-state average run length of an individuals chart and an EWMA watched together.

    Parameters
    ----------
    width : float
        Individuals limits, in sigma, above zero.
    lam, ewma_width : float
        Weight and width of the EWMA, as in :func:`ewma_arl`.
    shift : float
        Distance of the process mean from center, in sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal of either chart; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    The integral equation of the EWMA, with only those values of the average that a value inside of the
    individuals limits can lead to. The result has six digits or more.

    References
    ----------
    Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control schemes.
    Technometrics 32, 1-12.
    """
    kernel, _ = _limited(_Ewma(lam, ewma_width, shift), width)
    return bounded(float(lengths_from(np.column_stack((kernel, np.zeros(len(kernel)))))[-1]))


def combined_ewma_run_length(
    *, width: float, lam: float, ewma_width: float, shift: float = 0.0
) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length; see :func:`combined_ewma_arl`.

    Raises
    ------
    ValueError
        As :func:`combined_ewma_arl`.
    """
    kernel, signals = _limited(_Ewma(lam, ewma_width, shift), width)
    before = (1.0, 1.0 - float(signals[-1]))
    return settling(kernel[-1], lambda states: states @ kernel[:-1], signals[:-1], before)[0]


def _limited(chart: _Ewma, width: float) -> tuple[FloatArray, FloatArray]:
    """Return what an average leads to inside of both limits, and the chance of a signal.

    There is a row for each point of :func:`_panels` and a last one for center.
    """
    if not width > 0.0:
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    panels = _panels(chart, width)
    starts = np.concatenate([*(gauss(size, low, high)[0] for low, high, size in panels), [0.0]])
    expected, reach = (1.0 - chart.lam) * starts, chart.lam * width
    lowest, highest = np.maximum(expected - reach, -chart.limit), np.minimum(expected + reach, chart.limit)
    kernel = [
        cut_kernel(
            lambda points: chart.arriving(points, starts),
            np.clip(lowest, low, high),
            np.clip(highest, low, high),
            size,
            (low, high),
        )
        for low, high, size in panels
    ]
    above = ndtr((expected - highest) / chart.lam + chart.shift)
    below = ndtr((lowest - expected) / chart.lam - chart.shift)
    return np.column_stack(kernel), np.asarray(above + below, dtype=np.float64)


def _panels(chart: _Ewma, width: float) -> list[tuple[float, float, int]]:
    """Cut the range of the average where the run length has a kink, and give each part points of its own.

    The kinks are the starts from which a value at an individuals limit just takes the average to its own.
    """
    kink = abs(chart.limit - chart.lam * width) / (1.0 - chart.lam) if chart.lam < 1.0 else math.inf
    inner = [-kink, kink] if kink < chart.limit else []
    edges = [-chart.limit, *inner, chart.limit]
    return [(low, high, int(32 + 6 * (high - low) / chart.lam)) for low, high in pairwise(edges)]


@dataclass(frozen=True, slots=True)
class _Ewma:
    """The average between its limits, center at zero."""

    lam: float
    width: float
    shift: float
    head_start: float = 0.0
    asymptotic: bool = True

    def __post_init__(self) -> None:
        check_shift(self.shift)
        if not 0.0 < self.lam <= 1.0:
            raise ValueError(f"lambda is {self.lam}; give a weight above 0 and at most 1.")
        if not (math.isfinite(self.width) and self.width > 0.0):
            raise ValueError(
                f"The width is {self.width}; give a number above 0, in standard deviations of the EWMA."
            )
        if not 0.0 <= self.head_start < 1.0:
            raise ValueError(
                f"The head start is {self.head_start}; give a share of the EWMA's limit, 0 to below 1."
            )
        if self.head_start and not self.asymptotic:
            raise ValueError(
                "A head start is for limits that do not widen; leave out one of the two, they do the same."
            )

    @property
    def limit(self) -> float:
        """Limit of the settled average, in sigma of the values."""
        return self.width * math.sqrt(self.lam / (2.0 - self.lam))

    @property
    def size(self) -> int:
        # The kernel is a bell of width lam; the number of points follows how many fit between the limits.
        return int(40 + 8 * self.limit / self.lam)

    def arriving(self, points: FloatArray, starts: FloatArray) -> FloatArray:
        """Density of the average at ``points`` after one more value, one row for each of ``starts``."""
        step = (points - (1.0 - self.lam) * starts[:, None]) / self.lam - self.shift
        return density(step) / self.lam

    def signals(self, starts: FloatArray, reach: float) -> FloatArray:
        """Chance that the next value takes the average beyond ``reach``, from each of ``starts``."""
        expected = (1.0 - self.lam) * starts + self.lam * self.shift
        above, below = ndtr((expected - reach) / self.lam), ndtr((-expected - reach) / self.lam)
        return np.asarray(above + below, dtype=np.float64)

    def onward(self, starts: FloatArray) -> FloatArray:
        points, weights = gauss(self.size, -self.limit, self.limit)
        return weights * self.arriving(points, starts)

    def lengths(self) -> FloatArray:
        """Run lengths from the points between settled limits."""
        return lengths_from(self.onward(gauss(self.size, -self.limit, self.limit)[0]))

    def reaches(self) -> Iterator[float]:
        """Distance of the limits at value 1, 2, ... until it has settled."""
        left = 1.0
        while True:
            left *= 1.0 - self.lam
            widened = 1.0 if self.asymptotic else math.sqrt(1.0 - left * left)
            share = widened - self.head_start * left
            yield self.limit * share
            if share >= 1.0 - SETTLED:
                return

    def followed(self) -> tuple[RunLengthDistribution, FloatArray]:
        """Follow the average value by value, first between limits that move, then between settled ones."""
        starts, chances, survival = np.zeros(1), np.ones(1), [1.0]
        for reach in self.reaches():
            survival.append(survival[-1] * (1.0 - float(chances @ self.signals(starts, reach))))
            points, weights = gauss(self.size, -reach, reach)
            chances = chances @ (weights * self.arriving(points, starts))
            chances, starts = chances / chances.sum(), points
        kernel = self.onward(starts)
        return settling(chances, lambda states: states @ kernel, self.signals(starts, self.limit), survival)
