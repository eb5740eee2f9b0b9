"""The five shapes that run rules look for, each for the newest value and for a whole array.

An array form gets standardised values, shape (n,), NaN where missing, and returns whether each value
completes the pattern. A newest form gets only the values since the last missing one, the newest last.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["PATTERNS", "BoolArray", "Pattern"]

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pattern:
    """One shape: ``newest(values, count, of, limit)`` and ``whole(z, count, of, limit)``."""

    newest: Callable[[Sequence[float], int, int, float], bool]
    whole: Callable[[FloatArray, int, int, float], BoolArray]


def _in_a_row(flags: BoolArray, length: int) -> BoolArray:
    """Return where the last ``length`` flags are all set; windows are doubled, so it takes log2 passes."""
    reached, width = flags, 1
    while width < length:
        shift = min(width, length - width)
        longer = np.empty_like(reached)
        longer[:shift] = False
        np.logical_and(reached[shift:], reached[:-shift], out=longer[shift:])
        reached, width = longer, width + shift
    return reached


def _some_of(flags: BoolArray, present: BoolArray | None, count: int, of: int) -> BoolArray:
    """Return where a set flag closes a window of ``of`` values, ``count`` of them set.

    ``present`` tells which values are there; None if all are. A flag before a missing value does not count.
    """
    ones = flags.view(np.uint8)
    total = ones.copy()
    unbroken = None if present is None else present.copy()
    for back in range(1, min(of, flags.size)):
        earlier = ones[:-back]
        if present is not None and unbroken is not None:
            unbroken[back:] &= present[:-back]
            earlier = earlier & unbroken[back:]
        total[back:] += earlier
    found: BoolArray = (total >= count) & flags
    return found


def _beyond_newest(values: Sequence[float], count: int, of: int, limit: float) -> bool:
    newest = values[-1]
    if newest > limit:
        return sum(value > limit for value in values[-of:]) >= count
    if newest < -limit:
        return sum(value < -limit for value in values[-of:]) >= count
    return False


def _beyond_whole(z: FloatArray, count: int, of: int, limit: float) -> BoolArray:
    high, low = z > limit, z < -limit
    if count == of:
        return _in_a_row(high, of) | _in_a_row(low, of)
    gaps = np.isnan(z)
    present = ~gaps if gaps.any() else None
    return _some_of(high, present, count, of) | _some_of(low, present, count, of)


def _inside_newest(values: Sequence[float], _count: int, of: int, limit: float) -> bool:
    return len(values) >= of and all(abs(value) < limit for value in reversed(values[-of:]))


def _inside_whole(z: FloatArray, _count: int, of: int, limit: float) -> BoolArray:
    return _in_a_row(np.abs(z) < limit, of)


def _outside_newest(values: Sequence[float], _count: int, of: int, limit: float) -> bool:
    return len(values) >= of and all(abs(value) > limit for value in reversed(values[-of:]))


def _outside_whole(z: FloatArray, _count: int, of: int, limit: float) -> BoolArray:
    return _in_a_row(np.abs(z) > limit, of)


def _step_signs(values: Sequence[float], of: int) -> list[int]:
    tail = values[-of:]
    return [(after > before) - (after < before) for before, after in pairwise(tail)]


def _trend_newest(values: Sequence[float], _count: int, of: int, _limit: float) -> bool:
    signs = _step_signs(values, of)
    return len(signs) == of - 1 and signs[-1] != 0 and all(sign == signs[-1] for sign in signs)


def _trend_whole(z: FloatArray, _count: int, of: int, _limit: float) -> BoolArray:
    rising, falling = _steps(z)
    return _in_a_row(rising, of - 1) | _in_a_row(falling, of - 1)


def _steps(z: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Return where a value is above, and where below, the value before it."""
    rising, falling = np.zeros(z.size, dtype=np.bool_), np.zeros(z.size, dtype=np.bool_)
    np.greater(z[1:], z[:-1], out=rising[1:])
    np.less(z[1:], z[:-1], out=falling[1:])
    return rising, falling


def _alternating_newest(values: Sequence[float], _count: int, of: int, _limit: float) -> bool:
    signs = _step_signs(values, of)
    return len(signs) == of - 1 and all(a * b < 0 for a, b in pairwise(signs))


def _alternating_whole(z: FloatArray, _count: int, of: int, _limit: float) -> BoolArray:
    rising, falling = _steps(z)
    turned = np.zeros(z.size, dtype=np.bool_)
    turned[1:] = (rising[1:] & falling[:-1]) | (falling[1:] & rising[:-1])
    return _in_a_row(turned, of - 2)


PATTERNS: dict[str, Pattern] = {
    "beyond": Pattern(newest=_beyond_newest, whole=_beyond_whole),
    "inside": Pattern(newest=_inside_newest, whole=_inside_whole),
    "outside": Pattern(newest=_outside_newest, whole=_outside_whole),
    "trend": Pattern(newest=_trend_newest, whole=_trend_whole),
    "alternating": Pattern(newest=_alternating_newest, whole=_alternating_whole),
}
