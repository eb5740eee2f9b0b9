"""When a characteristic began to differ, and whether it was one bad shot or a lasting change. Pure.

A lasting change is dated by the most likely step from the known in-control center, which is near even where
the change settles slowly; the set of shots where it may as well have begun is that of a step, of a drift, or
of both, as the values tell.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.alarms.lifecycle import CLEAR_AFTER_SHOTS
from rules import change_point
from rules.limits import Baseline

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WINDOW_SHOTS = 600
RECENT_SHOTS = 10
NEIGHBOR_SHOTS = 5
LASTING_MEAN_SIGMA = 1.5
LASTING_STANDARD_ERRORS = 4.0
LASTING_IN_A_ROW = 3
FEWEST_FOR_A_DRIFT = 5  # shots: a line through fewer follows any noise


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
    signaled : tuple of int
        Shots at which a chart signaled, rising; at least one.
    far_out : frozenset of int
        Those among them whose single value lies beyond an individuals limit.
    upward, downward : tuple of int
        Those among them that signaled above or below center, rising; not all signals have a side.
    """

    key: str
    shot_ids: IntArray
    x: FloatArray
    baseline: Baseline
    signaled: tuple[int, ...]
    far_out: frozenset[int]
    upward: tuple[int, ...] = ()
    downward: tuple[int, ...] = ()


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
    return all(_is_single_row(series, row) for row in _rows_of_signals(series))


def earliest(changes: Iterable[Change]) -> Change | None:
    """The change that must have begun first: the one whose latest plausible start is earliest.

    A shorter set that overlaps it is no better date: where one cause creeps in, what answers it sharply comes
    later.
    """
    return min(changes, key=lambda change: (change.high_shot_id, change.shot_id), default=None)


def _is_single_row(series: Series, row: list[int]) -> bool:
    """Whether a row of signals begins with a bad shot, has few of them on end, and nothing else moved."""
    first, last = np.searchsorted(series.shot_ids, (row[0], row[-1]))
    far_out = np.isin(series.shot_ids[first : last + 1], list(series.far_out))
    if not far_out[:1].any() or _longest_stretch(far_out) >= LASTING_IN_A_ROW:
        return False
    z = (series.x - series.baseline.center) / series.baseline.sigma
    around = z[first : last + 1][~far_out]
    if around.size < LASTING_IN_A_ROW:
        around = np.concatenate([z[max(0, first - NEIGHBOR_SHOTS) : first], around])
    if around.size == 0:
        return True
    away = float(np.mean(around)) * math.copysign(1.0, z[first])
    phi = series.baseline.phi
    standard_error = math.sqrt((1 + phi) / (1 - phi) / around.size)
    return away <= min(LASTING_MEAN_SIGMA, LASTING_STANDARD_ERRORS * standard_error)


def _longest_stretch(flags: NDArray[np.bool_]) -> int:
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
    """Date the change; it began by the first signal, though a drift that goes on looks younger every shot."""
    signal = int(np.searchsorted(series.shot_ids, _first_lasting_signal(series), side="right")) - 1
    found = _began(series.x, series.baseline)
    if found[0] > signal:
        found = _began(series.x[: signal + 1], series.baseline)
    return found[0], found[1], min(found[2], max(signal, found[0]))


def _began(x: FloatArray, known: Baseline) -> tuple[int, int, int]:
    if x.size < FEWEST_FOR_A_DRIFT:
        return _stepped(x, known)
    found = change_point.form(x, center=known.center, sigma=known.sigma, phi=known.phi)
    start = found.step.index
    return start, min(found.low, start), max(found.high, start)


def _stepped(x: FloatArray, known: Baseline) -> tuple[int, int, int]:
    if x.size < 2:
        return 0, 0, 0
    found = change_point.step(x, center=known.center, sigma=known.sigma, phi=known.phi)
    return found.index, found.low, found.high


def _first_lasting_signal(series: Series) -> int:
    """First shot of the first row of signals that single bad shots do not explain."""
    return next(row[0] for row in _rows_of_signals(series) if not _is_single_row(series, row))


def _rows_of_signals(series: Series) -> list[list[int]]:
    """Signals with fewer shots between them than let an alarm clear."""
    places = np.searchsorted(series.shot_ids, series.signaled)
    rows: list[list[int]] = []
    for number, shot in enumerate(series.signaled):
        if number and places[number] - places[number - 1] <= CLEAR_AFTER_SHOTS:
            rows[-1].append(shot)
        else:
            rows.append([shot])
    return rows
