"""What shape the values have, and what a limit far from the center is worth with it.

Source: Anderson and Darling (1954), D'Agostino and Stephens (1986) for the test; the Pearson type III curve
for the tail of skewed values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import kurtosis, norm, pearson3, skew
from statsmodels.stats.diagnostic import normal_ad

from rules.series import finite_series

__all__ = ["SHAPES", "Shape", "shape_of"]

SHAPES = ("unknown", "coarse", "normal", "skewed", "heavy_tailed", "light_tailed")
FEWEST = 25
ALPHA = 0.01
ERRORS = 3.0  # standard errors: skewness or tails seen beyond doubt
MATTERS = 1.5  # times as many false alarms of a wide limit; less changes no limit
EXPLAINED = 0.5  # of the excess kurtosis, by the Pearson type III curve (1.5 times the squared skewness)
COARSE = 1.0  # a step of one sigma and more hides the shape
HEAVY = "Far values are more frequent than normal: a wide limit cries wolf oftener than planned."
LIGHT = "Far values are rarer than normal: limits err on the wide side."
WIDE = 3.5  # sigma: where the wide limit of a default plan lies


@dataclass(frozen=True, slots=True)
class Shape:
    """Shape of the values.

    Parameters
    ----------
    kind : str
        One of ``SHAPES``.
    skewness, excess_kurtosis : float
        Of the residuals; both 0 for normal values.
    p : float
        Of the Anderson-Darling test; NaN where it was not made.
    value_skewness, value_kurtosis : float
        Skewness and excess kurtosis of the values themselves, which are sums of residuals: less, the more
        they are correlated.
    tail_factor : float
        How many times as often as normal values these pass limits of 3.5 sigma, by the Pearson type III curve
        with their skewness.
    sentence : str
        What it means for limits.
    """

    kind: str
    skewness: float
    excess_kurtosis: float
    p: float
    value_skewness: float
    value_kurtosis: float
    tail_factor: float
    sentence: str


def shape_of(residuals: ArrayLike, *, phi: float = 0.0, step: float | None = None) -> Shape:
    """Judge the shape of a characteristic from its residuals.

    Parameters
    ----------
    residuals : array_like of float, shape (n,)
        Independent parts of the values (:func:`rules.baseline.memory.residuals`); NaN where missing.
    phi : float
        Autocorrelation at lag 1 of the values.
    step : float, optional
        Step the values come in.

    Returns
    -------
    Shape
        ``"unknown"`` below 25 values, ``"coarse"`` where one step is a sigma or more.

    Notes
    -----
    With many values the test notes departures that move no limit, so a shape is named only where skewness or
    tails are beyond three standard errors (``sqrt(6 / n)``, ``sqrt(24 / n)``) too. An autoregressive sum
    keeps ``(1 - phi^2)^1.5 / (1 - phi^3)`` of the skewness of its residuals, and
    ``(1 - phi^2)^2 / (1 - phi^4)`` of their excess kurtosis.

    References
    ----------
    Anderson, T. W. and Darling, D. A. (1954). A test of goodness of fit. J. American Statistical Association
    49, 765-769.
    D'Agostino, R. B. and Stephens, M. A. (1986). Goodness-of-Fit Techniques, table 4.9 (estimated mean and
    variance).
    """
    values = finite_series(residuals)
    values = values[~np.isnan(values)]
    n = len(values)
    sigma = float(values.std()) if n else 0.0
    if n < FEWEST or not sigma > 1e-12 * float(np.abs(values).max()):
        return _plain("unknown", f"{n} values do not show their shape; limits suppose a normal one.")
    if step is not None and step >= COARSE * sigma:
        return _plain(
            "coarse", "The values come in steps as large as their spread, so their shape cannot be judged."
        )
    p = float(normal_ad(values)[1])
    return _named(values, p, phi)


def _plain(kind: str, sentence: str) -> Shape:
    return Shape(kind, 0.0, 0.0, math.nan, 0.0, 0.0, 1.0, sentence)


def _named(values: np.ndarray, p: float, phi: float) -> Shape:
    n, g1, g2 = len(values), float(skew(values)), float(kurtosis(values))
    own = g1 * (1.0 - phi * phi) ** 1.5 / (1.0 - phi**3)
    tails = g2 * (1.0 - phi * phi) ** 2 / (1.0 - phi**4)
    factor = _tail(own) / (2.0 * float(norm.sf(WIDE)))
    # A few far values on one side look like skewness; then its curve explains little of the tails.
    fits = 1.5 * g1 * g1 >= EXPLAINED * g2
    if p < ALPHA and abs(g1) > ERRORS * math.sqrt(6.0 / n) and factor > MATTERS and fits:
        side = "high" if own > 0 else "low"
        sentence = (
            f"The values are skewed to the {side} side (skewness {own:.2f}): they pass limits of 3.5 sigma "
            f"{factor:.0f} times as often as normal ones."
        )
        return Shape("skewed", g1, g2, p, own, tails, factor, sentence)
    if p < ALPHA and abs(g2) > ERRORS * math.sqrt(24.0 / n):
        heavy = g2 > 0.0
        return Shape(
            "heavy_tailed" if heavy else "light_tailed", g1, g2, p, own, tails, 1.0, HEAVY if heavy else LIGHT
        )
    return Shape("normal", g1, g2, p, own, tails, 1.0, "Nothing speaks against a normal shape.")


def _tail(skewness: float) -> float:
    return float(pearson3.sf(WIDE, skewness) + pearson3.cdf(-WIDE, skewness))
