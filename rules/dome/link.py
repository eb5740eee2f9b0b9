"""Do flagged discs dome differently?

The answer is a statement: what was found, how certain it is, and why no more can be said. Below the
counts in this module there is no number at all, only the reason.

The smallest counts are common practice, no source: a rank interval of 95 % needs at least 4 and 4
values to exist, and means of fewer than 10 lean on a normal shape that nobody has checked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from rules.dome import rank, welch
from rules.dome.welch import FloatArray, Interval, Pair

Certainty = Literal["none", "weak", "clear"]
Method = Literal["means", "ranks"]

FEWEST = 5  # discs in each group for any number
FEWEST_FOR_MEANS = 10  # discs in each group for a difference of means


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Flagged against unflagged discs.

    Attributes
    ----------
    certainty : {'none', 'weak', 'clear'}
        none: no number is given. weak: the interval holds zero, or the comparison has a flaw that
        `reasons` name. clear: within runs, and the interval excludes zero.
    reasons : tuple of str
        Why not more can be said, each a part sentence.
    flagged, unflagged : int
        Discs compared.
    runs : int
        Runs they come from.
    left_out : int
        Discs of runs that have only one kind, where nothing can be compared within the run.
    interval : Interval or None
        Flagged minus unflagged, in the unit of the readings.
    method : {'means', 'ranks'} or None
    confidence : float
    gauge_share : float or None
        Share of the variance within groups that the gauge alone explains; None without a gauge study.
    """

    certainty: Certainty
    reasons: tuple[str, ...]
    flagged: int
    unflagged: int
    runs: int
    left_out: int
    interval: Interval | None
    method: Method | None
    confidence: float
    gauge_share: float | None


def compare(
    values: npt.ArrayLike,
    flagged: npt.ArrayLike,
    runs: Sequence[object],
    *,
    gauge_sigma: float | None = None,
    confidence: float = 0.95,
) -> Difference:
    """Compare flagged with unflagged discs, each run with itself.

    Parameters
    ----------
    values : array-like of float, shape (n,)
        Readings, one unit, no NaN.
    flagged : array-like of bool, shape (n,)
    runs : sequence, length n
        Run of each disc.
    gauge_sigma : float, optional
        Standard deviation of one reading by the gauge alone, from a gauge study.
    confidence : float

    Returns
    -------
    Difference

    Raises
    ------
    ValueError
        When the lengths differ or a value is not finite.
    """
    x, flag = _checked(values, flagged, runs)
    pairs = _pairs(x, flag, runs)
    within = bool(pairs)
    if not within:
        pairs = [(x[flag], x[~flag])]
    n_flagged, n_unflagged = (sum(len(pair[side]) for pair in pairs) for side in (0, 1))
    reasons = _shortage(n_flagged, n_unflagged)
    interval, method = (None, None) if reasons else _difference(pairs, confidence)
    reasons = reasons or _flaws(interval, within=within)
    return Difference(
        certainty=_certainty(interval, reasons), reasons=tuple(reasons),
        flagged=n_flagged, unflagged=n_unflagged,
        runs=len(pairs) if within else len(set(runs)),
        left_out=len(x) - n_flagged - n_unflagged,
        interval=interval, method=method, confidence=confidence,
        gauge_share=_gauge_share(pairs, gauge_sigma),
    )  # fmt: skip


def _checked(
    values: npt.ArrayLike, flagged: npt.ArrayLike, runs: Sequence[object]
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    x, flag = np.asarray(values, dtype=float), np.asarray(flagged, dtype=bool)
    if not len(x) == len(flag) == len(runs):
        raise ValueError(f"{len(x)} values, {len(flag)} flags and {len(runs)} runs do not belong together")
    if not np.isfinite(x).all():
        raise ValueError("a reading that is not a number cannot be compared; leave it out")
    return x, flag


def _pairs(x: FloatArray, flag: npt.NDArray[np.bool_], runs: Sequence[object]) -> list[Pair]:
    """Flagged and unflagged readings of each run that has at least two of both."""
    names = np.asarray([str(run) for run in runs])
    pairs = [(x[flag & (names == run)], x[~flag & (names == run)]) for run in sorted(set(names))]
    return [pair for pair in pairs if min(len(pair[0]), len(pair[1])) >= 2]


def _shortage(flagged: int, unflagged: int) -> list[str]:
    counts = (("flagged", flagged), ("unflagged", unflagged))
    return [f"{n} {name} of at least {FEWEST} gauged" for name, n in counts if n < FEWEST]


def _difference(pairs: list[Pair], confidence: float) -> tuple[Interval | None, Method]:
    smaller = min(sum(len(pair[side]) for pair in pairs) for side in (0, 1))
    longest = max(len(sample) for pair in pairs for sample in pair)
    if smaller >= FEWEST_FOR_MEANS or longest > rank.LARGEST:
        return welch.mean_difference(pairs, confidence), "means"
    return rank.location_difference(pairs, confidence), "ranks"


def _flaws(interval: Interval | None, *, within: bool) -> list[str]:
    flaws = []
    if interval is None:
        flaws.append("too few discs in each run for an interval")
    elif not interval.excludes_zero:
        flaws.append("the interval holds zero")
    if not within:
        flaws.append("flagged and unflagged discs come from different runs, which differ by themselves")
    return flaws


def _certainty(interval: Interval | None, reasons: Sequence[str]) -> Certainty:
    if interval is None:
        return "none"
    return "weak" if reasons else "clear"


def _gauge_share(pairs: list[Pair], gauge_sigma: float | None) -> float | None:
    samples = [sample for pair in pairs for sample in pair if len(sample) >= 2]
    freedom = sum(len(sample) - 1 for sample in samples)
    if gauge_sigma is None or freedom == 0:
        return None
    variance = sum(float(sample.var(ddof=1)) * (len(sample) - 1) for sample in samples) / freedom
    return min(1.0, gauge_sigma**2 / variance) if variance > 0 else 1.0
