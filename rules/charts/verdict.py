"""What did a value do to a chart whose only rule is its limit? From statistic and share to points and tracks.

Strict inequality, a value on a limit is inside: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from rules.charts.chart import BEYOND_LIMIT, FloatArray, IntArray, Point, Track

__all__ = ["MISSING", "beyond", "blocks", "judge", "judge_all", "side", "sides"]

MISSING = Point(statistic=math.nan, share=math.nan, signals=(), direction=0)


def blocks(size: int, length: int) -> Iterator[slice]:
    """Cut ``size`` values into slices of ``length``: what fits the cache is read from memory only once."""
    for first in range(0, size, length):
        yield slice(first, min(first + length, size))


def side(difference: float) -> int:
    """Return -1, 0 or 1 as ``difference`` is below, at or above zero."""
    return (difference > 0) - (difference < 0)


def sides(difference: FloatArray) -> IntArray:
    """Return -1, 0 or 1 for each of ``difference``; 0 where it is NaN."""
    return np.asarray((difference > 0).view(np.int8) - (difference < 0).view(np.int8))


def judge(statistic: float, share: float, direction: int) -> Point:
    """Return the point of one value: beyond the limit if its share is above 1."""
    return Point(statistic, share, (BEYOND_LIMIT,) if share > 1 else (), direction)


def beyond(share: FloatArray, first: int = 0) -> list[tuple[int, str]]:
    """Return the signals of a block whose first value has index ``first``."""
    return [(index, BEYOND_LIMIT) for index in (np.flatnonzero(share > 1) + first).tolist()]


def judge_all(statistic: FloatArray, share: FloatArray, direction: IntArray) -> Track:
    """Return the track of many values: beyond the limit wherever the share is above 1."""
    return Track(statistic, share, tuple(beyond(share)), direction)
