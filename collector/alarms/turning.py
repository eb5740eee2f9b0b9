"""Since when a lasting change is on its present side of center, if it was on the other before. Pure.

An alarm goes on while its characteristic is away from its level, on whichever side: it keeps its number and
the date from which discs are in question. Who reads "lower" must not take that date for when it went lower.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from collector.alarms.change import Change, FloatArray, Series, is_single
from collector.alarms.model import Moved
from rules import change_point


def turned(series: Series, change: Change) -> int | None:
    """First shot on the present side; None when the change never lay on the other one.

    Parameters
    ----------
    series : Series
        With the shots that signaled upward and downward.
    change : Change
        What :func:`collector.alarms.change.judge` said of the same series.

    Returns
    -------
    int or None
        Id of the most likely first shot. Single bad shots on the other side turn nothing.
    """
    side = math.copysign(1.0, change.after - change.before)
    here, there = (series.upward, series.downward)[:: int(side)]
    since = [shot for shot in here if there and shot > there[-1]]
    if change.single or not since or _are_single(series, there) or _are_single(series, tuple(since)):
        return None
    before = [shot for shot in here if shot < there[-1]]  # of an earlier turn to this side
    begin = _place(series, before[-1] + 1) if before else 0
    found = change_point.step(
        _of_side(series, side)[begin:], center=series.baseline.center, sigma=series.baseline.sigma,
        phi=series.baseline.phi,
    )  # fmt: skip
    return int(series.shot_ids[min(begin + found.index, _place(series, since[0]))])


def turns(said: Moved, now: Moved) -> bool:
    """Whether it lies on another side than what was said of it."""
    if now.turned_shot_id is None:
        return False
    return said.turned_shot_id is None or _shift(said) * _shift(now) < 0


def says_other(said: Moved | None, now: Moved) -> bool:
    """Whether what was said of a characteristic is not so any more: the other side, another setpoint."""
    if said is None or said.before is None:
        return False
    other_side = not now.single and now.direction * _shift(now) < 0
    return other_side or said.after != now.after


def _are_single(series: Series, signaled: tuple[int, ...]) -> bool:
    return is_single(replace(series, signaled=signaled, far_out=series.far_out & set(signaled)))


def _place(series: Series, shot_id: int) -> int:
    """Where a shot stands in the series; a shot whose value was taken back since stands nowhere."""
    return min(int(np.searchsorted(series.shot_ids, shot_id)), series.shot_ids.size - 1)


def _of_side(series: Series, side: float) -> FloatArray:
    """The values with those of the other side taken as at center: only this side tells when it began."""
    center = series.baseline.center
    return center + side * np.clip(side * (series.x - center), 0.0, None)


def _shift(item: Moved) -> float:
    return 0.0 if item.before is None or item.after is None else item.after - item.before
