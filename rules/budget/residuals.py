"""What would a CUSUM of residuals do with the same false-alarm rate, and what can no chart beat?

A residual is what the shot before does not tell about a value, divided by its spread: independent and normal
while the process is as described. After a lasting shift of ``d`` sigma the first residual has the mean ``d``
where the charts start with it, every later one ``d sqrt((1 - phi) / (1 + phi))``: the forecast follows.

References
----------
Alwan, L. C. and Roberts, H. V. (1988). Time-series modeling for statistical process control. J. Business &
Economic Statistics 6, 87-95.
Moustakides, G. V. (1986). Optimal stopping times for detecting changes in distributions. Annals of Statistics
14, 1379-1387 (the one-sided CUSUM of log likelihood ratios that knows the shift is optimal).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from rules.budget import brownian
from rules.run_length import cusum_arl
from rules.run_length.autocorrelated import variance_ratio
from rules.run_length.integral import density, gauss

__all__ = ["least_delay", "residual_cusum", "residual_delay"]

POINTS = 16


def residual_cusum(
    run: float, phi: float, *, shift: float = 1.0, two_sided: bool = True
) -> tuple[float, float]:
    """Return reference value and decision interval of the CUSUM of residuals that looks for ``shift`` sigma.

    Parameters
    ----------
    run : float
        Shots between its false alarms.
    phi : float
        Autocorrelation at lag 1, 0 to 0.95.
    shift : float
        Lasting shift of the values that it is tuned to, in total sigma.
    two_sided : bool
        False for the upper sum alone.

    Returns
    -------
    k, h : float
        In standard deviations of a residual.
    """
    k = 0.5 * shift / math.sqrt(variance_ratio(phi))
    guess = brownian.barrier_for(k, run * (2.0 if two_sided else 1.0), 1.0) - float(brownian.excess(0.0))

    def miss(h: float) -> float:
        return math.log(cusum_arl(k=k, h=h, two_sided=two_sided) / run)

    return k, float(brentq(miss, 0.9 * guess, 1.1 * guess, xtol=1e-4))


def residual_delay(k: float, h: float, phi: float, shift: float) -> float:
    """Return the mean number of shots until the upper sum of residuals signals a lasting shift.

    Parameters
    ----------
    k, h : float
        In standard deviations of a residual.
    phi : float
        Autocorrelation at lag 1.
    shift : float
        In total sigma of the values.

    Returns
    -------
    float
        From a fresh start, the shot of the shift included.
    """
    later = shift / math.sqrt(variance_ratio(phi))
    nodes, weights = gauss(POINTS, 0.0, h)
    onward = [
        cusum_arl(k=k, h=h, shift=later, head_start=float(start), two_sided=False) for start in (0.0, *nodes)
    ]
    chances = np.concatenate(([ndtr(k - shift)], weights * density(nodes + k - shift)))
    return float(1.0 + chances @ onward)


def least_delay(run: float, phi: float, *, shift: float = 1.0) -> float:
    """Return the delay of the chart that knows size and side of the shift: no chart sees it sooner.

    Parameters
    ----------
    run : float
        Shots between false alarms.
    phi : float
        Autocorrelation at lag 1.
    shift : float
        In total sigma.

    Returns
    -------
    float
        Mean number of shots from a fresh start.
    """
    return residual_delay(*residual_cusum(run, phi, shift=shift, two_sided=False), phi, shift)
