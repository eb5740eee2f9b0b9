"""By what do range and standard deviation of n normal values tell sigma? By integration, not a printed table.

Printed tables carry three or four decimals and a few last-digit slips; the integrals below reach 1e-11.

References
----------
Tippett, L. H. C. (1925). On the extreme individuals and the range of samples taken from a normal population.
Biometrika 17, 364-387.
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (definitions of the factors).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammaln, ndtr

__all__ = ["MAX_N", "Factors", "c4", "d2", "d3", "factors"]

MAX_N = 1000
_REACH = 10.0  # standard deviations either side; what lies beyond weighs less than 1e-20 at n = 1000
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(400)


@dataclass(frozen=True, slots=True)
class Factors:
    """Factors of ISO 7870-2 and their usual companions, for one sample size.

    ``a*`` multiply a dispersion to give the limits of a mean, ``b*`` those of a standard deviation,
    ``upper_d*`` those of a range (D1..D4, written out so as not to be taken for d2 and d3), ``e2`` those of
    single values.
    """

    n: int
    d2: float
    d3: float
    c4: float
    a: float
    a2: float
    a3: float
    b3: float
    b4: float
    b5: float
    b6: float
    upper_d1: float
    upper_d2: float
    upper_d3: float
    upper_d4: float
    e2: float


def _sample_size(n: int) -> int:
    if not 2 <= n <= MAX_N:
        raise ValueError(f"A sample of {n} has no such constant; use a size from 2 to {MAX_N}.")
    return n


@cache
def d2(n: int) -> float:
    """Return the mean range of ``n`` independent normal values, in sigma.

    Parameters
    ----------
    n : int
        Sample size, 2 to 1000.

    Returns
    -------
    float
        Tippett's integral of ``1 - F(x)^n - (1 - F(x))^n``; 2/sqrt(pi) for ``n = 2``.

    Raises
    ------
    ValueError
        If ``n`` is out of range.
    """
    if _sample_size(n) == 2:
        return 2.0 / math.sqrt(math.pi)
    x = _REACH * _NODES
    inside = 1.0 - ndtr(x) ** n - ndtr(-x) ** n
    return float(_REACH * (_WEIGHTS @ inside))


@cache
def d3(n: int) -> float:
    """Return the standard deviation of the range of ``n`` independent normal values, in sigma.

    Parameters
    ----------
    n : int
        Sample size, 2 to 1000.

    Returns
    -------
    float
        From the second moment of the range, the integral of ``2 w P(range > w)``.

    Raises
    ------
    ValueError
        If ``n`` is out of range.
    """
    if _sample_size(n) == 2:
        return math.sqrt(2.0 - 4.0 / math.pi)
    w = _REACH * (_NODES + 1.0)
    x = _REACH * _NODES
    density = n * np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi) * _REACH * _WEIGHTS
    at_most = (ndtr(x[None, :] + w[:, None]) - ndtr(x)[None, :]) ** (n - 1) @ density
    second_moment = 2.0 * _REACH * (_WEIGHTS @ (w * (1.0 - at_most)))
    return math.sqrt(float(second_moment) - d2(n) ** 2)


def c4(n: int) -> float:
    """Return the mean standard deviation (divisor n - 1) of ``n`` independent normal values, in sigma.

    Parameters
    ----------
    n : int
        Sample size, 2 to 1000.

    Returns
    -------
    float
        ``sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2)``.

    Raises
    ------
    ValueError
        If ``n`` is out of range.
    """
    _sample_size(n)
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


def factors(n: int, *, width: float = 3.0) -> Factors:
    """Return every limit factor for samples of ``n``.

    Parameters
    ----------
    n : int
        Sample size, 2 to 1000.
    width : float
        Distance of the limits from the center in standard deviations of the statistic; tables print 3.

    Returns
    -------
    Factors
        Lower factors that come out negative are 0, as in the tables.

    Raises
    ------
    ValueError
        If ``n`` is out of range.
    """
    mean_range, sd_range, mean_sd = d2(n), d3(n), c4(n)
    sd_sd, root = math.sqrt(1.0 - mean_sd**2), math.sqrt(n)
    return Factors(
        n=n,
        d2=mean_range,
        d3=sd_range,
        c4=mean_sd,
        a=width / root,
        a2=width / (mean_range * root),
        a3=width / (mean_sd * root),
        b3=max(0.0, 1.0 - width * sd_sd / mean_sd),
        b4=1.0 + width * sd_sd / mean_sd,
        b5=max(0.0, mean_sd - width * sd_sd),
        b6=mean_sd + width * sd_sd,
        upper_d1=max(0.0, mean_range - width * sd_range),
        upper_d2=mean_range + width * sd_range,
        upper_d3=max(0.0, 1.0 - width * sd_range / mean_range),
        upper_d4=1.0 + width * sd_range / mean_range,
        e2=width / mean_range,
    )
