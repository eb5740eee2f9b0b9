"""From the scores of many stories to figures with their uncertainty.

Proportions carry Wilson's interval, counts the exact Poisson interval; where several things come from one
story, standard errors are of the bootstrap that draws whole stories.

References
----------
E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of the American
Statistical Association 22 (1927), 209-212.
F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936), 437-442.
B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap (1993), chapters 6 and 8 (clusters).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from scipy import stats

Z95 = 1.959964
DRAWS = 400

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure from `n` things; NaN where there is none.

    `se` is its standard error; `low` and `high` bound its 95 % interval where one is known. An infinite value
    is a delay that never ended.
    """

    value: float
    n: int
    se: float = math.nan
    low: float = math.nan
    high: float = math.nan

    def to_json(self) -> dict[str, float | int | str | None]:
        """The figure as JSON types; "never" for infinity, null for what is not known."""
        numbers = {name: getattr(self, name) for name in ("value", "se", "low", "high")}
        return {"n": self.n, **{name: _plain(number) for name, number in numbers.items()}}


def _plain(number: float) -> float | str | None:
    if math.isnan(number):
        return None
    return "never" if math.isinf(number) else round(number, 5)


def proportion(hits: int, n: int) -> Figure:
    """A share with its binomial standard error and Wilson's 95 % interval."""
    if n == 0:
        return Figure(value=math.nan, n=0)
    share = hits / n
    middle = (share + Z95**2 / (2 * n)) / (1 + Z95**2 / n)
    half = Z95 / (1 + Z95**2 / n) * math.sqrt(share * (1 - share) / n + Z95**2 / (4 * n**2))
    return Figure(
        value=share, n=n, se=math.sqrt(share * (1 - share) / n),
        low=max(middle - half, 0.0), high=min(middle + half, 1.0),
    )  # fmt: skip


def rate(count: int, exposure: float) -> Figure:
    """Counts a unit of exposure, with Garwood's exact 95 % interval; `n` is the count."""
    if exposure <= 0:
        return Figure(value=math.nan, n=count)
    low = float(stats.chi2.ppf(0.025, 2 * count)) / 2 if count else 0.0
    high = float(stats.chi2.ppf(0.975, 2 * count + 2)) / 2
    return Figure(
        value=count / exposure, n=count, se=math.sqrt(count) / exposure, low=low / exposure,
        high=high / exposure,
    )  # fmt: skip


def over_stories(
    stories: Sequence[T], measure: Callable[[Sequence[T]], tuple[float, int]], *, seed: int = 1
) -> Figure:
    """A measure of all stories with the standard error and 95 % interval of the bootstrap that draws stories.

    Parameters
    ----------
    stories : sequence
        One element a story.
    measure : callable
        (stories) -> (value, how many things it rests on); NaN where it does not exist.
    seed : int
        Of the bootstrap.

    Returns
    -------
    Figure
    """
    value, n = measure(stories)
    if n == 0 or not math.isfinite(value) or len(stories) < 2:
        return Figure(value=value, n=n)
    rng = np.random.default_rng(seed)
    places = rng.integers(len(stories), size=(DRAWS, len(stories)))
    values = np.array([measure([stories[i] for i in row])[0] for row in places])
    kept = values[np.isfinite(values)]
    if len(kept) < DRAWS / 2:
        return Figure(value=value, n=n)
    low, high = np.quantile(kept, (0.025, 0.975))
    return Figure(value=value, n=n, se=float(kept.std(ddof=1)), low=float(low), high=float(high))


def quantile(values: Sequence[float], share: float) -> float:
    """The smallest value that so large a share does not exceed; infinity counts as late as any."""
    if not values:
        return math.nan
    ordered = sorted(values)
    return float(ordered[max(math.ceil(share * len(ordered)) - 1, 0)])
