"""What does each characteristic of the shot go along with in the disc?

One characteristic at a time, each run keeping its own level. Characteristics that move together share
their effect; this does not tell them apart, and it does not tell cause from company.

References
----------
Dunn, O. J. (1961). Multiple comparisons among means. Journal of the American Statistical Association
56, 52-64 (Bonferroni's bound for a family of intervals).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rules.dome.link import Certainty
from rules.dome.slope import within_runs
from rules.dome.welch import FloatArray, Interval

FEWEST = 12  # discs, and as many more as there are runs beyond the first; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one characteristic of the shot goes along with in the disc.

    Attributes
    ----------
    key : str
    certainty, reasons
        As in `rules.dome.link.Difference`; clear only after allowing for how many were looked at.
    n, runs : int
    slope : Interval or None
        Change of the reading for one unit of the characteristic.
    over_spread : Interval or None
        The same for one standard deviation of the characteristic within runs, in the reading's unit.
    """

    key: str
    certainty: Certainty
    reasons: tuple[str, ...]
    n: int
    runs: int
    slope: Interval | None
    over_spread: Interval | None


def effects(
    values: npt.ArrayLike,
    shots: Mapping[str, npt.ArrayLike],
    runs: Sequence[object],
    *,
    confidence: float = 0.95,
) -> list[Effect]:
    """Effect of each characteristic, one at a time, largest first.

    Parameters
    ----------
    values : array-like of float, shape (n,)
        Readings of the discs.
    shots : mapping of str to array-like of float, shape (n,)
        What each disc's shot measured, NaN where it did not.
    runs : sequence, length n
    confidence : float

    Returns
    -------
    list of Effect
    """
    y = np.asarray(values, dtype=float)
    found = [
        _effect(key, y, np.asarray(x, dtype=float), runs, confidence=confidence, looked_at=len(shots))
        for key, x in shots.items()
    ]
    return sorted(found, key=lambda e: -abs(e.over_spread.estimate) if e.over_spread else 1.0)


def _effect(
    key: str, y: FloatArray, x: FloatArray, runs: Sequence[object], *, confidence: float, looked_at: int
) -> Effect:
    known = np.isfinite(x) & np.isfinite(y)
    names = [run for run, has in zip(runs, known, strict=True) if has]
    n, groups = int(known.sum()), len(set(names))
    needed = FEWEST + max(groups - 1, 0)
    slope = None if n < needed else within_runs(x[known], y[known], names)
    if slope is None:
        reason = f"{n} of at least {needed} discs gauged" if n < needed else "it did not move within the runs"
        return Effect(
            key=key, certainty="none", reasons=(reason,), n=n, runs=groups, slope=None, over_spread=None
        )
    plain, strict = (slope.interval(1 - (1 - confidence) / family) for family in (1, looked_at))
    reasons = _doubts(plain, strict, looked_at)
    return Effect(
        key=key, certainty="weak" if reasons else "clear", reasons=reasons, n=n, runs=groups,
        slope=plain, over_spread=plain.times(slope.spread),
    )  # fmt: skip


def _doubts(plain: Interval, strict: Interval, looked_at: int) -> tuple[str, ...]:
    """Looking at many characteristics finds one by chance; the wider interval keeps the look honest."""
    if strict.excludes_zero:
        return ()
    if plain.excludes_zero:
        return (f"one of {looked_at} characteristics may show as much by chance",)
    return ("the interval holds zero",)
