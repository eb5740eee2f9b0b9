"""Was it a step or a drift, and can these values tell at all?

Both have a place and a size, so the likelihoods of their best fits compare directly. Where they lie close
the answer is that either may be, with all shots at which either may have begun.

References
----------
Burnham, K. P. and Anderson, D. R. (2002). Model Selection and Multimodel Inference, 2nd ed., Springer, 2.9
(likelihoods of models with equally many parameters as weights of evidence).
Perry, M. B. and Pignatiello, J. J. (2006). Estimation of the change point of a normal process mean with a
linear trend disturbance in SPC. Quality Technology and Quantitative Management 3, 325-334.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.change_point.drift import Drift, drift
from rules.change_point.penalty import penalty_of
from rules.change_point.step import ChangePoint, step
from rules.figures import written
from rules.series import finite_series

__all__ = ["Form", "Kind", "form"]

FloatArray = NDArray[np.float64]
Kind = Literal["step", "drift", "either", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What kind of change the values show.

    Parameters
    ----------
    kind : {'step', 'drift', 'either', 'none'}
        none: neither explains more than chance does. either: a change, but these values do not tell which.
    step : ChangePoint
        The best step, whatever the kind.
    drift : Drift
        The best drift, whatever the kind.
    odds : float
        How many times likelier the values are under the best step than under the best drift; below 1 for the
        drift.
    low, high : int
        Shots at which the change may have begun, over every kind that is left open.
    sentence : str
        The same in words.
    """

    kind: Kind
    step: ChangePoint
    drift: Drift
    odds: float
    low: int
    high: int
    sentence: str

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        return asdict(self)


def form(
    x: ArrayLike,
    *,
    center: float | None = None,
    sigma: float | None = None,
    confidence: float = 0.9,
    phi: float = 0.0,
    odds_needed: float = 20.0,
) -> Form:
    """Return whether one step, one drift, either, or neither explains the values.

    Parameters
    ----------
    x, center, sigma, confidence, phi
        As in :func:`rules.change_point.step`; without sigma, the smaller residual spread of the two fits.
    odds_needed : float
        How many times likelier one kind must be to be named, above 1.

    Returns
    -------
    Form

    Raises
    ------
    ValueError
        As :func:`rules.change_point.step` and :func:`rules.change_point.drift`, or if ``odds_needed`` is not
        above 1.

    Notes
    -----
    What cannot be told apart: a drift so short or so shallow that it rises by a few sigma in a few shots; a
    step followed by a drift, and a drift that has come to rest, are taken for whichever lies nearer.
    """
    if not odds_needed > 1.0:
        raise ValueError(f"The odds needed are {odds_needed}; give a number above 1.")
    values = finite_series(x)
    one = step(values, center=center, sigma=sigma, confidence=confidence, phi=phi)
    other = drift(values, center=center, sigma=sigma, confidence=confidence, phi=phi)
    squares_of_step, squares_of_drift = _squares(values, one, other)
    n = int(np.count_nonzero(~np.isnan(values)))
    variance = _variance(n, min(squares_of_step, squares_of_drift), sigma, center)
    gain = _total(values, center) - min(squares_of_step, squares_of_drift)
    odds = _odds(squares_of_drift - squares_of_step, variance * (1.0 + phi) / (1.0 - phi))
    kind = _kind(odds, odds_needed, seen=gain > penalty_of(n, math.sqrt(variance), phi))
    begins = [(one.low, one.high)] * (kind != "drift") + [(other.low, other.high)] * (kind != "step")
    return Form(
        kind=kind, step=one, drift=other, odds=odds,
        low=min(low for low, _ in begins), high=max(high for _, high in begins),
        sentence=_sentence(kind, one, other, odds),
    )  # fmt: skip


def _squares(values: FloatArray, one: ChangePoint, other: Drift) -> tuple[float, float]:
    """Squared distances that each fit leaves."""
    shots = np.arange(len(values))
    levels = np.where(shots < one.index, one.before, one.after)
    ramp = other.before + other.slope * np.maximum(shots - other.index + 1, 0)
    return float(np.nansum((values - levels) ** 2)), float(np.nansum((values - ramp) ** 2))


def _total(values: FloatArray, center: float | None) -> float:
    return float(np.nansum((values - (np.nanmean(values) if center is None else center)) ** 2))


def _variance(n: int, squares: float, sigma: float | None, center: float | None) -> float:
    return squares / max(n - (3 if center is None else 2), 1) if sigma is None else sigma**2


def _odds(difference: float, variance: float) -> float:
    if difference == 0.0:
        return 1.0
    if variance <= 0.0:
        return math.inf if difference > 0.0 else 0.0
    return math.exp(min(max(0.5 * difference / variance, -700.0), 700.0))


def _kind(odds: float, needed: float, *, seen: bool) -> Kind:
    if not seen:
        return "none"
    if odds >= needed:
        return "step"
    return "drift" if odds <= 1.0 / needed else "either"


def _sentence(kind: Kind, one: ChangePoint, other: Drift, odds: float) -> str:
    stepped = f"a step to {written(one.after)} at shot {one.index} (between {one.low} and {one.high})"
    drifted = (
        f"a drift of {written(other.slope, 3)} a shot from shot {other.index} "
        f"(between {other.low} and {other.high})"
    )
    if kind == "none":
        return "Neither a step nor a drift explains more than chance does among so many values."
    if kind == "step":
        return f"The values show {stepped}; a drift is {_times(odds)} less likely."
    if kind == "drift":
        against = 1.0 / odds if odds > 0.0 else math.inf
        return f"The values show {drifted}; a step is {_times(against)} less likely."
    return f"These values do not tell {stepped} from {drifted}; later shots will."


def _times(odds: float) -> str:
    return f"{odds:.0f} times" if odds < 1000.0 else "over a thousand times"
