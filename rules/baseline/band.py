"""How far a characteristic that wanders may go: a band, and a limit of one step, suggested from its past.

No chart with limits from the spread of single values works on a characteristic that wanders, but a person can
state how far it may go. This suggests where to begin: the band that the same wandering would leave no oftener
than the floor's budget allows. Whether the product stays good within it only a person can say.

Source: Hahn and Meeker (1991) for prediction limits; Bayley and Hammersley (1946) for what shots that are
alike are worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.stats import norm

from rules.baseline.autocorrelation import lag_one
from rules.baseline.memory import integrated_time
from rules.baseline.normality import shape_of
from rules.baseline.refusals import ConstantValues, TooFewValues
from rules.constants import d2, d3
from rules.estimation import widened_limit
from rules.run_length import individuals_ar1_arl
from rules.series import finite_series

__all__ = ["FEWEST_LOOKS", "Band", "StepLimit", "band_of"]

FloatArray = NDArray[np.float64]
FEWEST_LOOKS = 5.0  # independent looks; a band from fewer is a guess
SHORTEST_RUN = 20.0


@dataclass(frozen=True, slots=True)
class StepLimit:
    """A limit for the difference of two neighboring values.

    Parameters
    ----------
    limit : float
        Largest difference, in the unit of the values.
    sigma, width : float
        The same as parameters of a moving range chart.
    """

    limit: float
    sigma: float
    width: float


@dataclass(frozen=True, slots=True)
class Band:
    """A suggestion for engineering limits.

    Parameters
    ----------
    nominal : float
        Setpoint, or the mean where there is none.
    allowed : float
        Allowed deviation to either side.
    looks : float
        Independent looks that the values are worth.
    width : float
        Half of the band in standard deviations of all values, without the distance of mean and setpoint.
    step : StepLimit or None
        A limit for one step, where it sees what the band would hide.
    sigma, phi : float
        Standard deviation of all values, and the autocorrelation at lag 1 that stands for their memory.
    sentence : str
        Where the band comes from.
    """

    nominal: float
    allowed: float
    looks: float
    width: float
    sigma: float
    phi: float
    step: StepLimit | None
    sentence: str

    @property
    def lower(self) -> float:
        """Lower end."""
        return self.nominal - self.allowed

    @property
    def upper(self) -> float:
        """Upper end."""
        return self.nominal + self.allowed

    def delay(self, shifts: Sequence[float]) -> dict[float, float]:
        """Return the mean shots until the wander leaves the band after a lasting shift of so many sigma."""
        return {
            shift: individuals_ar1_arl(width=self.allowed / self.sigma, phi=self.phi, shift=shift)
            for shift in shifts
        }


def band_of(x: ArrayLike, *, run: float, setpoint: float | None = None) -> Band:
    """Suggest engineering limits for a characteristic that wanders.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Its values in order, startup left out; NaN where missing.
    run : float
        Shots wanted between two false alarms of this characteristic, 20 or more.
    setpoint : float, optional
        What the characteristic is set to; the band is laid around it.

    Returns
    -------
    Band

    Raises
    ------
    TooFewValues
        If the values are worth fewer than five independent looks.
    ConstantValues
        If they do not vary.
    ValueError
        If ``run`` is below 20.

    Notes
    -----
    The values are taken as ``looks`` independent ones, by the longer of the memory that lag 1 tells and the
    integrated autocorrelation time. The band is ``mean +- width * s``: the width that an autoregressive
    process of order one leaves once in ``run`` shots, widened to a prediction limit for so few looks
    (Student's t). No shape is fitted, since so few looks show none. A limit of one
    step shares the budget by halves with the band; it is suggested where the differences have no heavy tails
    and the limit is below half of the allowed deviation.

    References
    ----------
    Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, 4.7 (prediction interval for a new value).
    """
    if not run >= SHORTEST_RUN:
        raise ValueError(f"A false alarm every {run:.3g} shots is too often; allow one in 20 or more.")
    values = finite_series(x)
    present = values[~np.isnan(values)]
    phi, looks = _looks(values, present)
    sigma = float(present.std(ddof=1))
    step = _step_limit(values, 2.0 * run)
    width = _width(2.0 * run if step else run, phi, looks)
    if step and step.limit >= width * sigma / 2.0:
        step, width = None, _width(run, phi, looks)
    mean = float(present.mean())
    nominal = mean if setpoint is None else setpoint
    allowed = width * sigma + abs(mean - nominal)
    sentence = (
        f"The band is {width:.1f} standard deviations ({sigma:.4g}) to either side, because {len(present)} "
        f"values that wander are worth {looks:.0f} independent ones"
    )
    off = "" if setpoint is None else f", and the mean lies {abs(mean - setpoint):.4g} from the setpoint"
    return Band(nominal, allowed, looks, width, sigma, phi, step, f"{sentence}{off}.")


def _looks(values: FloatArray, present: FloatArray) -> tuple[float, float]:
    """Autocorrelation of the wander, 0 to 0.99, and how many independent looks the values are worth."""
    if len(present) < 2 or np.ptp(present) <= 1e-12 * float(np.abs(present).max()):
        raise ConstantValues("The values do not vary, so nothing wanders; watch for change instead.")
    phi = max(lag_one(values).phi, 0.0)
    time = max((1.0 + phi) / (1.0 - phi), integrated_time(present)[0])
    looks = len(present) / time
    if looks < FEWEST_LOOKS:
        more = math.ceil(FEWEST_LOOKS * time - len(present))
        raise TooFewValues(
            f"{len(present)} values that wander are worth {looks:.1f} independent ones, too few for a band; "
            f"collect about {more} more, or state the limits that the process needs."
        )
    return min((time - 1.0) / (time + 1.0), 0.99), looks


def _width(run: float, phi: float, looks: float) -> float:
    """Prediction limit, in estimated sigma, that the wander leaves once in ``run`` shots."""

    def miss(width: float) -> float:
        return math.log(individuals_ar1_arl(width=width, phi=phi) / run)

    top = float(norm.isf(0.5 / run))  # independent values leave any band oftener
    known = float(brentq(miss, 0.5, top, xtol=1e-4)) if miss(0.5) < 0.0 < miss(top) else top
    return widened_limit(known, phi=phi, n=looks)


def _step_limit(values: FloatArray, run: float) -> StepLimit | None:
    """Limit for the difference of neighbors, or None where its tails are heavy and so its rate unknown."""
    differences = np.diff(values)
    differences = differences[~np.isnan(differences)]
    if shape_of(differences).kind not in ("normal", "light_tailed"):
        return None
    spread = math.sqrt(float(np.mean(differences**2)))
    limit = spread * widened_limit(float(norm.isf(0.5 / run)), phi=0.0, n=float(len(differences)))
    sigma = spread / math.sqrt(2.0)
    return StepLimit(limit, sigma, (limit / sigma - d2(2)) / d3(2))
