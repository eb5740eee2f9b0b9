"""How likely is a noncentral t value of at most t, however far out?

Bounds of capability indices and of one-sided tolerance limits are solved for with it.

References
----------
Johnson, N. L., Kotz, S. and Balakrishnan, N. (1995). Continuous Univariate Distributions, volume 2, 2nd ed.,
Wiley, chapter 31 (the noncentral t distribution).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtrc, nctdtr

__all__ = ["chance_at_most"]

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(60)


def chance_at_most(t: float, freedom: float, noncentrality: float) -> float:
    """Return the chance that ``(z + noncentrality) / u`` is at most ``t``.

    Parameters
    ----------
    t, noncentrality : float
        Finite.
    freedom : float
        Degrees of freedom, above 0.

    Returns
    -------
    float
        Between 0 and 1.

    Notes
    -----
    z is standard normal and ``freedom u^2`` chi-square. The library's series ends without an answer where t
    or the noncentrality is far out. There u decides but for little, and a sum over few z is exact enough:
    ``P(u >= (z + noncentrality) / t)`` for t above 0, its mirror image below.
    """
    found = float(nctdtr(freedom, noncentrality, t))
    if math.isfinite(found):
        return found
    least = np.maximum((NODES + math.copysign(1.0, t) * noncentrality) / abs(t), 0.0)
    above = float(WEIGHTS @ chdtrc(freedom, freedom * least * least) / WEIGHTS.sum())
    return above if t > 0.0 else 1.0 - above
