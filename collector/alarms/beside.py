"""What the other values of a press did while something signaled: up, down, uneven, or nothing. Pure.

A press reports more than is charted, and what is charted may have moved without a signal yet. None of that
raises an alarm; it only tells causes apart. The measures are common practice, no source: the mean of the
last shots lies several sigmas from where the values lay before, or they scatter several times as much.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from collector.alarms.causes import SCATTERED
from collector.contract import quantities

FloatArray = NDArray[np.float64]

BEFORE_SHOTS = 100
LEAST_BEFORE = 20
RECENT_SHOTS = 10
LEAST_TO_SCATTER = 8
MOVED_SIGMAS = 3.0
SCATTER_TIMES = 2.5
SLOW_K = 1.0  # a temperature wanders by less; common practice, no source
FEWEST_STEPS = 2.0  # of the last digit that is shown: less is rounding


def directions(before: Mapping[str, FloatArray], recent: Mapping[str, FloatArray]) -> dict[str, int]:
    """By key, whether recent values lie above (+1) or below (-1) those before, scatter more, or neither (0).

    Parameters
    ----------
    before, recent : mapping of str to array
        Values in the order of the shots, canonical units, NaN where missing.

    Returns
    -------
    dict of str to int
        Keys with enough values; `collector.alarms.causes.SCATTERED` for values that spread more.
    """
    found = {}
    for key in before.keys() & recent.keys():
        known, now = (each[np.isfinite(each)] for each in (before[key], recent[key]))
        if len(known) >= LEAST_BEFORE and len(now):
            found[key] = _direction(key, known, now)
    return dict(sorted(found.items()))


def _direction(key: str, before: FloatArray, recent: FloatArray) -> int:
    center = float(np.median(before))
    sigma = 1.4826 * float(np.median(np.abs(before - center)))
    away = float(np.mean(recent)) - center
    if abs(away) > max(MOVED_SIGMAS * max(sigma, float(before.std())), _least(key)):
        return 1 if away > 0 else -1
    return SCATTERED if _scatters(key, before, recent) else 0


def _scatters(key: str, before: FloatArray, recent: FloatArray) -> bool:
    if len(recent) < LEAST_TO_SCATTER:
        return False
    usual, now = (float(np.diff(each).std()) for each in (before, recent))
    return now > max(SCATTER_TIMES * usual, _least(key))


def _least(key: str) -> float:
    quantity = quantities.find(key)
    if quantity is None:
        return 0.0
    steps = FEWEST_STEPS * 10.0**-quantity.decimals
    return max(steps, SLOW_K) if quantity.slow else steps
