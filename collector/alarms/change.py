"""When a characteristic began to differ, and whether it was one bad shot or a lasting change. Pure.

A lasting change is dated by the most likely step from the known in-control center, with the set of shots
where it may as well have begun; a drift is dated by the step that fits it best.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules import change_point
from rules.limits import Baseline

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WINDOW_SHOTS = 600
RECENT_SHOTS = 10
NEIGHBOR_SHOTS = 5
LASTING_MEAN_SIGMA = 1.5
LASTING_IN_A_ROW = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Values of one characteristic up to its last signal, in the order in which the charts saw them.

    Parameters
    ----------
    key : str
        The characteristic.
    shot_ids, x : array of shape (n,)
        Shots that have a value, and the values, canonical unit; n >= 1.
    baseline : Baseline
        Center and sigma of the limits in force.
    far_out : frozenset of int
        Shots whose single value lies beyond an individuals limit.
    """

    key: str
    shot_ids: IntArray
    x: FloatArray
    baseline: Baseline
    far_out: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The verdict on one series: shots are named by their id; levels are in the canonical unit."""

    key: str
    single: bool
    shot_id: int
    low_shot_id: int
    high_shot_id: int
    before: float
    after: float


def judge(series: Series) -> Change:
    """Say since when, from which level and to which level a characteristic moved.

    Parameters
    ----------
    series : Series
        With at least one value.

    Returns
    -------
    Change
        For single bad shots: the first of them, and the value farthest from center. For a lasting change:
        the estimated first shot with the earliest and latest plausible one (90 % confidence), and the median
        of the last shots.
    """
    return _single(series) if is_single(series) else _lasting(series)


def is_single(series: Series) -> bool:
    """Whether the signals are single bad shots while the process around them stayed where it was."""
    far_out = np.isin(series.shot_ids, list(series.far_out))
    if not far_out.any() or _longest_row(far_out) >= LASTING_IN_A_ROW:
        return False
    first = int(np.argmax(far_out))
    z = (series.x - series.baseline.center) / series.baseline.sigma
    around = z[first:][~far_out[first:]]
    if around.size < LASTING_IN_A_ROW:
        around = np.concatenate([z[max(0, first - NEIGHBOR_SHOTS) : first], around])
    side = math.copysign(1.0, z[first])
    return around.size == 0 or float(np.mean(around)) * side <= LASTING_MEAN_SIGMA


def earliest(changes: Iterable[Change]) -> Change | None:
    """The change that must have begun first: the one whose latest plausible start is earliest."""
    return min(changes, key=lambda change: (change.high_shot_id, change.shot_id), default=None)


def _longest_row(flags: NDArray[np.bool_]) -> int:
    longest = current = 0
    for flag in flags:
        current = current + 1 if flag else 0
        longest = max(longest, current)
    return longest


def _single(series: Series) -> Change:
    ids = [int(shot) for shot in series.shot_ids if int(shot) in series.far_out]
    values = series.x[np.isin(series.shot_ids, ids)]
    farthest = values[np.argmax(np.abs(values - series.baseline.center))]
    return Change(
        key=series.key, single=True, shot_id=ids[0], low_shot_id=ids[0], high_shot_id=ids[0],
        before=series.baseline.center, after=float(farthest),
    )  # fmt: skip


def _lasting(series: Series) -> Change:
    start, low, high = _first_shot(series)
    recent = series.x[max(start, series.x.size - RECENT_SHOTS) :]
    ids = series.shot_ids
    return Change(
        key=series.key, single=False,
        shot_id=int(ids[start]), low_shot_id=int(ids[low]), high_shot_id=int(ids[high]),
        before=series.baseline.center, after=float(np.median(recent)),
    )  # fmt: skip


def _first_shot(series: Series) -> tuple[int, int, int]:
    if series.x.size < 2:
        return 0, 0, 0
    known = series.baseline
    found = change_point.step(series.x, center=known.center, sigma=known.sigma, phi=known.phi)
    return found.index, found.low, found.high
