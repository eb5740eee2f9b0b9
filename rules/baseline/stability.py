"""Whether one level holds: does the characteristic stand still, step, drift, or wander?

Each answer is a description of the values: one level, a few levels, a line; each with an autocorrelation at
lag 1 of what is left. The one that describes them best for its number of parameters is taken.

Source: Schwarz (1978) for the choice; Dickey and Fuller (1979) for the wandering of a level that nothing
pulls back; Wald and Wolfowitz (1940) for runs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from statsmodels.tsa.adfvalues import mackinnonp

from rules import change_point
from rules.baseline.autocorrelation import lag_one
from rules.baseline.memory import Memory, residuals
from rules.figures import written
from rules.series import finite_series

__all__ = ["HOLDS", "WANDERS_FROM", "Stability", "runs_score", "stability_of"]

FloatArray = NDArray[np.float64]
WANDERS_FROM = 0.9
CORRELATED = 0.7  # from here on a level may also wander without a bound: ask the unit-root test
FEWEST_FOR_UNIT_ROOT = 100
SHORT_LEVEL = 100  # shots: a level that lasts no longer supports no usable limits
SHORTEST_LEVEL = 8  # shots; fewer are a burst, for the outliers to tell
SEVERAL = 5  # that many short levels are no levels but a long memory
MATTERS = 1.0  # sigma: a drift below the smallest shift the charts are made to see is none
ALPHA = 0.05
NAMED = 5
RUNS = 3.0  # standard deviations
HOLDS = "One level holds throughout."


@dataclass(frozen=True, slots=True)
class Stability:
    """Whether one level holds.

    Parameters
    ----------
    verdict : str
        ``"steady"``, ``"steps"``, ``"drifts"`` or ``"wanders"``.
    changes : tuple of int
        Places in the values handed in where the level changes, where ``verdict`` is ``"steps"`` or
        ``"wanders"``.
    phi : float
        Autocorrelation at lag 1 around the best description.
    drift : float
        From the first to the last value by the straight line, in the unit of the values.
    runs_score : float
        Of the number of runs on one side of the median, of the residuals: standard normal where nothing is
        left in them.
    unit_root_p : float
        Chance of so much return to a level in values that never return; NaN where it was not asked.
    stretch : tuple of (int, int)
        First and one past the last place of the longest stretch at one level.
    sentence : str
        What a careful person would see.
    """

    verdict: str
    changes: tuple[int, ...]
    phi: float
    drift: float
    runs_score: float
    unit_root_p: float
    stretch: tuple[int, int]
    sentence: str


def stability_of(x: ArrayLike, memory: Memory) -> Stability:
    """Judge whether one level holds over a stretch of shots.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order, startup left out; NaN where missing. 25 or more present, and not all equal.
    memory : Memory
        Of the same values.

    Returns
    -------
    Stability

    Notes
    -----
    A characteristic wanders where a level exists but pulls so weakly that nine tenths of a departure are left
    one shot later (``phi`` 0.9 and more: 19 shots are worth one), or where a unit root cannot be rejected.
    Five or more levels that last fewer than 100 shots are no levels but a memory longer than lag 1 tells, and
    are judged by that. No chart of wandering values with limits from their spread sees a shift sooner than
    the wander itself would make one.

    References
    ----------
    Schwarz, G. (1978). Estimating the dimension of a model. Annals of Statistics 6, 461-464.
    Dickey, D. A. and Fuller, W. A. (1979). Distribution of the estimators for autoregressive time series with
    a unit root. J. American Statistical Association 74, 427-431.
    """
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    kept = values[present]
    places = _lasting(np.searchsorted(present, [each.index for each in change_point.many(values)]), len(kept))
    changes = present[places].tolist()
    overall = lag_one(kept).phi
    if len(places) >= SEVERAL and len(kept) / (len(places) + 1) < SHORT_LEVEL:
        verdict, phi = "steady", max(memory.phi, overall)
    else:
        verdict, phi = _best(kept, places)
    unit_root = _unit_root_p(kept) if max(phi, overall) >= CORRELATED else math.nan
    line = _line(kept)
    drift = float(line[-1] - line[0])
    if phi >= WANDERS_FROM or (verdict == "steady" and unit_root > ALPHA):
        verdict, phi = "wanders", max(phi, overall)
    told = tuple(changes) if verdict in ("steps", "wanders") else ()
    bounds = [0, *told, len(values)]
    longest = int(np.diff(bounds).argmax())
    stretch = (bounds[longest], bounds[longest + 1])
    score = runs_score(residuals(kept, overall))
    found = Stability(verdict, told, phi, drift, score, unit_root, stretch, "")
    return replace(found, sentence=_sentence(found))


def _lasting(places: NDArray[np.intp], n: int) -> NDArray[np.intp]:
    """Leave out the end of every stretch too short to be a level: a few bad shots in a row are no step."""
    kept: list[int] = []
    for place in places.tolist():
        start = kept[-1] if kept else 0
        if place - start >= SHORTEST_LEVEL and n - place >= SHORTEST_LEVEL:
            kept.append(place)
    return np.array(kept, dtype=np.intp)


def _best(kept: FloatArray, places: NDArray[np.intp]) -> tuple[str, float]:
    """The description with the smallest criterion, and the autocorrelation that it leaves.

    A step costs three parameters, as in :func:`rules.change_point.penalty_of`: its place is searched for.
    """
    n, log_n = len(kept), math.log(len(kept))
    line = _line(kept)
    described = {"steady": (kept - kept.mean(), 1.0)}
    if len(places):
        described["steps"] = (kept - _levels(kept, places), 1.0 + 3.0 * len(places))
    if abs(line[-1] - line[0]) >= MATTERS * float((kept - line).std()):
        described["drifts"] = (kept - line, 2.0)
    ranked = []
    for name, (left, parameters) in described.items():
        found = lag_one(left)
        innovations = float(left @ left) / n * (1.0 - min(max(found.r, 0.0) ** 2, 0.9999))
        criterion = n * math.log(max(innovations, 1e-300)) + parameters * log_n
        ranked.append((criterion, name, found.phi))
    return min(ranked)[1:]


def _levels(kept: FloatArray, places: NDArray[np.intp]) -> FloatArray:
    return np.concatenate([np.full(len(part), part.mean()) for part in np.split(kept, places) if len(part)])


def _line(kept: FloatArray) -> FloatArray:
    """Straight line by least squares."""
    at = np.arange(len(kept)) - (len(kept) - 1) / 2.0
    return np.asarray(kept.mean() + at * float(at @ kept) / float(at @ at), dtype=np.float64)


def _unit_root_p(kept: FloatArray) -> float:
    """Augmented test with a constant; lags grow with the cube root of n (Said and Dickey 1984)."""
    if len(kept) < FEWEST_FOR_UNIT_ROOT:
        return math.nan
    lags = int((len(kept) - 1) ** (1.0 / 3.0))
    changes = np.diff(kept)
    now = changes[lags:]
    before = [changes[lags - lag : len(changes) - lag] for lag in range(1, lags + 1)]
    columns = np.column_stack([kept[lags:-1], np.ones(len(now)), *before])
    inverse = np.linalg.pinv(columns.T @ columns)
    weights = inverse @ (columns.T @ now)
    left = now - columns @ weights
    variance = float(left @ left) / (len(now) - columns.shape[1]) * float(inverse[0, 0])
    return float(mackinnonp(float(weights[0]) / math.sqrt(variance))) if variance > 0.0 else math.nan


def runs_score(x: ArrayLike) -> float:
    """Return how far the number of runs on one side of the median is from what chance gives, in its sigma.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN and values at the median are left out.

    Returns
    -------
    float
        Below zero for fewer runs than by chance, above for more; NaN where one side is empty.

    References
    ----------
    Wald, A. and Wolfowitz, J. (1940). On a test whether two samples are from the same population. Annals of
    Mathematical Statistics 11, 147-162.
    """
    values = finite_series(x)
    values = values[~np.isnan(values)]
    sides = np.sign(values - np.median(values)) if len(values) else values
    sides = sides[sides != 0]
    above, below = int((sides > 0).sum()), int((sides < 0).sum())
    total = above + below
    if not above or not below or total < 3:
        return math.nan
    expected = 2.0 * above * below / total + 1.0
    variance = (expected - 1.0) * (expected - 2.0) / (total - 1.0)
    runs = 1 + int(np.count_nonzero(np.diff(sides)))
    return (runs - expected) / math.sqrt(variance) if variance > 0.0 else math.nan


def _steady(score: float) -> str:
    if score < -RUNS:
        return "One level holds, but what is left after lag 1 stays on one side of it longer than by chance."
    if score > RUNS:
        return "One level holds, but what is left after lag 1 changes sides oftener than by chance."
    return HOLDS


def _sentence(found: Stability) -> str:
    if found.verdict == "steady":
        return _steady(found.runs_score)
    if found.verdict == "drifts":
        return f"The level drifts by {written(found.drift)} over the run; find out why before charting it."
    if found.verdict == "steps":
        named = ", ".join(str(place) for place in found.changes[:NAMED])
        more = " and more" if len(found.changes) > NAMED else ""
        first, last = found.stretch
        return f"The level steps at shot {named}{more}; it holds longest from shot {first} to {last - 1}."
    said = f"It wanders: {found.phi:.2f} of a departure is left one shot later"
    if found.unit_root_p > ALPHA:
        said += ", and nothing shows that it comes back to a level at all"
    return f"{said}."
